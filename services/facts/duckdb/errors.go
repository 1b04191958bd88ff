package duckdb

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"daysheet/events"
)

// Errors to tell apart with [errors.Is]. Because everything in the file can be
// made again from the log, the cure for the first two is the same: [SetAside],
// then open a new file and let it be filled.
var (
	// ErrSchema: the file was made by another version, or by something else.
	ErrSchema = errors.New("the file of facts has another schema")
	// ErrDamaged: the file cannot be read. Open finds damage where it reads;
	// any later call may find more.
	ErrDamaged = errors.New("the file of facts is damaged")
	// ErrLocked: another process has the file open.
	ErrLocked = errors.New("another process has the file of facts open")
	// ErrStopped: DuckDB met an error of its disk half way and answers nothing until the
	// file is opened again, which the next call does. What was written stays.
	ErrStopped error = &events.Error{Code: events.Unavailable, Rule: "the store of facts met an error of its disk and " +
		"is opened again: ask again, and make room or mend the disk if this comes back; nothing that is recorded is lost"}
	// ErrUnwritten: the disk did not take what was to be written, and nothing of it is there.
	ErrUnwritten error = &events.Error{Code: events.Unavailable, Rule: "the disk of the store of facts is full or " +
		"failing: make room or mend it, and the facts catch up by themselves; nothing that is recorded is lost"}
	// ErrClosed: the store was closed before or during the call.
	ErrClosed = errors.New("the store of facts is closed")
)

// SetAside renames a closed store's file, with what DuckDB keeps beside it, to a
// new path. A file that does not exist is no error. The commits in it may still
// be needed to repair a log, so it is not deleted.
func SetAside(path, to string) error {
	for _, suffix := range []string{".wal", ""} { // the log first: it must never meet a new file
		if err := os.Rename(path+suffix, to+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("set facts aside: %w", err)
		}
	}
	return nil
}

// openingError adds [ErrDamaged] or [ErrLocked] to an error of opening. Folder and
// permissions were checked before, so that what DuckDB still objects to is the
// content, unless it says otherwise.
func openingError(err error) error {
	var e engineError
	switch {
	case !errors.As(err, &e), errors.Is(err, ErrDamaged), errors.Is(err, ErrSchema):
		return err
	case strings.Contains(string(e), "Could not set lock"):
		return fmt.Errorf("%w: %w", ErrLocked, err)
	case e.is("Out of Memory"), e.is("Interrupt"), e.is("Permission"), e.is("Configuration"), e.is("Connection"),
		strings.Contains(string(e), "No space left"):
		return err
	}
	return fmt.Errorf("%w: %w", ErrDamaged, err)
}

// failed takes in an error of a call: after one that stopped DuckDB the next call opens the
// file again.
func (s *Store) failed(err error) error {
	err = damage(err)
	if errors.Is(err, ErrStopped) {
		s.stopped.Store(true)
	}
	return err
}

// damage adds [ErrDamaged] to an error that says the file cannot be read, [ErrStopped] to one
// that says it will not be, and [ErrUnwritten] to one that says it was not written to.
func damage(err error) error {
	var e engineError
	if !errors.As(err, &e) || errors.Is(err, ErrDamaged) {
		return err
	}
	if e.is("FATAL") {
		return fmt.Errorf("%w: %w", ErrStopped, err)
	}
	if strings.Contains(string(e), "Could not write") {
		return fmt.Errorf("%w: %w", ErrUnwritten, err)
	}
	if e.is("Serialization") || strings.Contains(string(e), "Corrupt database file") ||
		strings.Contains(string(e), "Could not read enough bytes") {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return err
}

// ended puts the reason for which ctx ended before what the engine made of it;
// nil where ctx goes on and err is nil.
func ended(ctx context.Context, err error) error {
	switch {
	case ctx.Err() == nil:
		return err
	case err == nil || errors.Is(err, context.Cause(ctx)):
		return context.Cause(ctx)
	}
	return fmt.Errorf("%w: %w", context.Cause(ctx), err)
}
