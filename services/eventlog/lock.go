package eventlog

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
)

// ErrInUse means that another process has the data folder open.
var ErrInUse = errors.New("another daysheet is using it: stop it first")

// lockName is the file in the data folder that a running process holds locked.
const lockName = "ledger.lock"

// lockFolder makes the folder and takes it for this process until the returned
// file is closed or the process ends, however it ends. The server itself has no
// lock, and two of them in one folder lose acknowledged commits.
func lockFolder(dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make data folder: %w", err)
	}
	file, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock data folder: %w", err)
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	switch {
	case errors.Is(err, syscall.EWOULDBLOCK):
		err = ErrInUse
	case err == nil:
		if err = inPlace(file); err == nil {
			return file, nil
		}
	}
	return nil, errors.Join(fmt.Errorf("lock data folder %s: %w", dir, err), file.Close())
}

// Lock keeps every process out of the log in a folder, which it makes where it is not
// there, until what it returns is closed. It fails with [ErrInUse] where one has it open.
func Lock(dir string) (io.Closer, error) {
	lock, err := lockFolder(dir)
	if err != nil {
		return nil, err // not a file that is nil inside
	}
	return lock, nil
}

// inPlace fails if a repair has put another folder in the place of the one whose
// lock was taken.
func inPlace(file *os.File) error {
	held, err := file.Stat()
	if err != nil {
		return err
	}
	there, err := os.Stat(file.Name())
	if err != nil || !os.SameFile(held, there) {
		return ErrInUse
	}
	return nil
}
