package dataformat

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"
)

// Step brings a folder from the format before to the next.
type Step struct {
	To    int    // format that it leads to
	About string // what it changes, for the log

	// Run changes the folder. It may be ended at any moment, however hard, and is then
	// run again from the start: what it finds done it leaves alone.
	Run func(ctx context.Context, folder string) error
}

// Steps are those from format 1 to [Current]. Format 1 is the only one so far.
func Steps() []Step { return nil }

// Upgrading is how a data folder is opened.
type Upgrading struct {
	Folder  string
	Program string // version of this program
	Steps   []Step // in order, without gaps, the last to the format that is wanted
	Logger  *slog.Logger

	// Lock keeps everybody else out of the ledger until it is closed.
	Lock func() (io.Closer, error)

	// Copy makes a copy of the ledger in a folder before the first step; nil where there
	// is one already, since the ledger was just restored. It is not called again where it
	// came to its end before.
	Copy func(ctx context.Context, into string) error
}

// BeforeUpgrade is the folder, in a data folder, of the copies that were made before
// steps. They are kept until somebody deletes them.
const BeforeUpgrade = "before-upgrade"

// Open makes sure that a folder has the format that the steps lead to: one that is
// fresh is given it, one of an older format is copied and then brought there step by
// step, and each step is written down once it is on disk. Several processes may open
// the folder at the same time. It fails as [Read] does.
func (u Upgrading) Open(ctx context.Context) error {
	want := u.want()
	fresh, err := isFresh(u.Folder)
	if err != nil {
		return err
	}
	if fresh {
		return Write(u.Folder, want, u.Program)
	}
	have, err := read(u.Folder, want)
	if err != nil {
		return err
	}
	if have < want {
		return u.climb(ctx)
	}
	if _, err := os.Stat(filepath.Join(u.Folder, FileName)); os.IsNotExist(err) {
		return Write(u.Folder, have, u.Program)
	}
	return nil
}

// want is the format that the steps lead to.
func (u Upgrading) want() int {
	if len(u.Steps) == 0 {
		return 1
	}
	return u.Steps[len(u.Steps)-1].To
}

// climb runs the steps, as the only process.
func (u Upgrading) climb(ctx context.Context) error {
	alone, err := os.OpenFile(filepath.Join(u.Folder, FileName+".lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("upgrade the data folder: %w", err)
	}
	defer alone.Close() // lets go of the lock
	if err := syscall.Flock(int(alone.Fd()), syscall.LOCK_EX); err != nil {
		return fmt.Errorf("upgrade the data folder: %w", err)
	}
	have, err := read(u.Folder, u.want()) // another process may have been faster
	if err != nil {
		return err
	}
	return u.steps(ctx, have)
}

// Restored brings a folder that was just restored, and still says so, to the format that
// the steps lead to. There is no copy of it: the archives are that.
func (u Upgrading) Restored(ctx context.Context) error {
	u.Copy = nil
	have, err := said(u.Folder, u.want())
	if err != nil {
		return err
	}
	return u.steps(ctx, have)
}

// steps runs those that lead on from a format.
func (u Upgrading) steps(ctx context.Context, have int) error {
	if have == u.want() {
		return nil
	}
	lock, err := u.Lock()
	if err != nil {
		return err
	}
	defer lock.Close()
	if u.Copy != nil {
		if err := u.copyOnce(ctx, have); err != nil {
			return fmt.Errorf("copy the data folder before it is upgraded: %w", err)
		}
	}
	for _, s := range u.Steps {
		if s.To <= have {
			continue
		}
		u.Logger.Info("upgrading the data folder", "to", s.To, "about", s.About)
		err := s.Run(ctx, u.Folder)
		if err == nil {
			err = Write(u.Folder, s.To, u.Program)
		}
		if err != nil {
			return fmt.Errorf("upgrade the data folder to format %d (%s): %w", s.To, s.About, err)
		}
	}
	return nil
}

// copyOnce makes the copy of a format unless it is there whole, which its name says.
func (u Upgrading) copyOnce(ctx context.Context, have int) error {
	whole := filepath.Join(u.Folder, BeforeUpgrade, fmt.Sprintf("format-%d", have))
	if _, err := os.Stat(whole); err == nil {
		return nil
	}
	draft := whole + ".new"
	if err := os.RemoveAll(draft); err != nil {
		return err
	}
	if err := os.MkdirAll(draft, 0o700); err != nil {
		return err
	}
	if err := u.Copy(ctx, draft); err != nil {
		return err
	}
	return os.Rename(draft, whole)
}
