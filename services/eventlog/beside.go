package eventlog

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"daysheet/events"
)

// Files reads the commits of an embedded log out of its files, beside whoever has it
// open: what is in them never changes, and what is new comes at their end.
type Files struct {
	dir    string
	folder os.FileInfo
}

// OpenFiles finds the log in a folder. It fails with a [*MovedError] where it goes on
// elsewhere.
func OpenFiles(dir string) (*Files, error) {
	if err := notMoved(dir); err != nil {
		return nil, err
	}
	folder, err := os.Stat(dir)
	if err != nil {
		return nil, fmt.Errorf("look for the log: %w", err)
	}
	return &Files{dir, folder}, nil
}

// Same fails if the folder of the log is not the one any more that was opened: a repair
// has put another in its place.
func (f *Files) Same() error {
	now, err := os.Stat(f.dir)
	if err != nil {
		return fmt.Errorf("look for the log: %w", err)
	}
	if !os.SameFile(f.folder, now) {
		return fmt.Errorf("the log in %s was repaired while it was being read: begin again", f.dir)
	}
	return notMoved(f.dir)
}

// A commit that is being written while it is read looks like damage. It is looked at
// again so often, so much later; a disk that takes longer than that has failed.
const (
	tornTries = 20
	tornPause = 100 * time.Millisecond
)

// Commits calls use with the commits of a partition after the sequence, in order and
// without gaps, up to what was acknowledged when it was called and maybe some more. use
// must not keep what it is given. It fails where the log is damaged, and names the place.
func (f *Files) Commits(ctx context.Context, partition uint8, after uint64, use func(events.Stored) error) error {
	if err := checkPartition(partition); err != nil {
		return err
	}
	r := &besides{dir: f.dir, partition: partition, last: after, use: use}
	for try := 1; ; try++ {
		torn, err := r.pass(ctx)
		if err != nil {
			return fmt.Errorf("partition %d: %w", partition, err)
		}
		if torn == 0 {
			return nil
		}
		if try == tornTries {
			return fmt.Errorf("partition %d: the last %d bytes of the log, after sequence %d, cannot be read: where no "+
				"server is running, start one once, which cuts off what was never acknowledged, else run \"daysheet repair\"",
				partition, torn, r.last)
		}
		timer := time.NewTimer(tornPause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return ctx.Err()
		}
	}
}

// besides is the reading of one partition.
type besides struct {
	dir       string
	partition uint8
	last      uint64 // sequence that was used last
	use       func(events.Stored) error
}

// pass reads on from the last commit to the end of the files. torn is how many bytes at
// the end are no whole commit yet.
func (r *besides) pass(ctx context.Context) (torn int, err error) {
	folder := filepath.Join(streamFolder(r.dir, r.partition), "msgs")
	numbers, err := blockNumbers(folder)
	if err != nil {
		return 0, fmt.Errorf("list blocks: %w", err)
	}
	path := func(i int) string { return filepath.Join(folder, fmt.Sprintf("%d.blk", numbers[i])) }
	for i := range numbers {
		if i+1 < len(numbers) {
			next, err := firstSequence(path(i + 1))
			if err != nil {
				return 0, err
			}
			if next > 0 && next <= r.last+1 {
				continue // nothing in this block is wanted
			}
		}
		content, err := os.ReadFile(path(i))
		if err != nil {
			return 0, fmt.Errorf("read a block: %w", err)
		}
		b, err := newBlock(content, r.partition, numbers[i])
		if err != nil {
			return 0, err
		}
		err = b.each(func(s events.Stored) error { return r.take(ctx, s) })
		if err != nil {
			return 0, err
		}
		last := i == len(numbers)-1
		if b.places > 1 || b.places == 1 && (!last || b.torn == 0) {
			return 0, fmt.Errorf("block file %d.blk cannot be read in %d places, the first at byte %d: run \"daysheet repair\"",
				numbers[i], b.places, b.first)
		}
		torn = b.torn
	}
	return torn, nil
}

// take passes on what was not used yet.
func (r *besides) take(ctx context.Context, s events.Stored) error {
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case s.Sequence <= r.last:
		return nil
	case s.Sequence != r.last+1:
		return fmt.Errorf("sequence %d is followed by %d: commits are missing, run \"daysheet repair\"", r.last, s.Sequence)
	}
	r.last = s.Sequence
	return r.use(s)
}

// firstSequence returns the sequence of the first record of a block file; 0 where there
// is none yet, or none that is a message.
func firstSequence(path string) (uint64, error) {
	file, err := os.Open(path)
	if err != nil {
		return 0, fmt.Errorf("read a block: %w", err)
	}
	defer file.Close()
	var head [12]byte
	_, err = io.ReadFull(file, head[:])
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read a block: %w", err)
	}
	sequence := binary.LittleEndian.Uint64(head[4:])
	if sequence&notAMessage != 0 {
		return 0, nil
	}
	return sequence, nil
}
