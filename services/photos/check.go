package photos

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"daysheet/events"
)

// findingsListed bounds the findings of a [Report]; the rest is counted.
const findingsListed = 100

// Report is what [Folder.Check] looked at and what it found.
type Report struct {
	Photos   int   // files whose bytes were compared with their name
	Bytes    int64 // in them
	Named    int   // photos that events name, each time
	Findings []string
	More     int // findings beyond those listed
}

func (r *Report) find(format string, args ...any) {
	if len(r.Findings) == findingsListed {
		r.More++
		return
	}
	r.Findings = append(r.Findings, fmt.Sprintf(format, args...))
}

// Check reads every photo and compares its bytes with its name, and looks for every
// photo that an event names. each calls its argument with every commit of the log.
// What is wrong is in the report; the error says that checking itself failed.
func (f *Folder) Check(ctx context.Context, each func(visit func(*events.Commit) error) error) (Report, error) {
	var r Report
	if err := f.Each(ctx, func(path string) error { return f.checkFile(path, &r) }); err != nil {
		return Report{}, err
	}
	err := each(func(c *events.Commit) error { return f.checkNamed(c, &r) })
	return r, err
}

func (f *Folder) checkFile(path string, r *Report) error {
	parts := strings.Split(path, string(filepath.Separator))
	if len(parts) != 3 || !events.ValidToken(parts[0]) || !validDigest(parts[2]) || parts[1] != parts[2][:2] {
		r.find("photos: %q is not the name of a photo", path)
		return nil
	}
	got, err := digestOf(filepath.Join(f.root, path))
	if errors.Is(err, fs.ErrNotExist) {
		return nil // moved away since it was listed
	}
	if err != nil {
		r.find("photos: photo %s of firm %s cannot be read: %v", parts[2], parts[0], err)
		return nil
	}
	stat, err := os.Stat(filepath.Join(f.root, path))
	if err != nil {
		return fmt.Errorf("check photos: %w", err)
	}
	r.Photos++
	r.Bytes += stat.Size()
	if got != parts[2] {
		r.find("photos: photo %s of firm %s is damaged: its bytes are not those it was named by; "+
			"whoever has it can send it again", parts[2], parts[0])
	}
	return nil
}

func (f *Folder) checkNamed(c *events.Commit, r *Report) error {
	for _, e := range c.Events {
		payload, err := e.Payload()
		if err != nil {
			return fmt.Errorf("event %s of job %s/%s: %w", e.ID, c.Firm, c.Job, err)
		}
		for _, digest := range events.PhotosOf(payload) {
			r.Named++
			path, err := f.path(c.Firm, digest)
			if err == nil {
				_, err = os.Stat(path)
			}
			if err != nil {
				r.find("photos: photo %s, named by event %s of job %s/%s, is not here: it was not sent yet, or it is lost",
					digest, e.ID, c.Firm, c.Job)
			}
		}
	}
	return nil
}
