package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"unsafe"
)

// disk is a small file system (ext4) in a file, mounted on the data folder of a trial, so
// that it can be full, fail, stand still and lose its power while nothing else does.
type disk struct{ image, folder string }

// diskSize is room for a trial, and little enough to be filled soon.
const diskSize = 96 << 20

// newDisk makes and mounts one. It takes root, a loop device and mkfs.ext4.
func newDisk(ctx context.Context, folder string) (d *disk, err error) {
	image, err := os.CreateTemp("", "faults-*.img")
	if err != nil {
		return nil, err
	}
	d = &disk{image.Name(), folder}
	err = errors.Join(image.Truncate(diskSize), image.Close())
	if err == nil {
		err = run(ctx, "mkfs.ext4", "-q", "-m", "0", d.image)
	}
	if err == nil {
		err = d.mount(ctx)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("this fault needs a file system of its own, which cannot be mounted here "+
			"(that takes root, a loop device and mkfs.ext4): %w", err), os.Remove(d.image))
	}
	return d, nil
}

func (d *disk) mount(ctx context.Context) error {
	return run(ctx, "mount", "-o", "loop,errors=remount-ro", d.image, d.folder)
}

// remove unmounts and deletes it.
func (d *disk) remove() error {
	return errors.Join(syscall.Unmount(d.folder, 0), os.Remove(d.image))
}

// renew is what an operator does after a disk failed: unmount, check, mount again.
func (d *disk) renew(ctx context.Context) error {
	if err := syscall.Unmount(d.folder, 0); err != nil {
		return fmt.Errorf("unmount: %w", err)
	}
	// Exit code 1 says that something was mended.
	err := run(ctx, "e2fsck", "-fp", d.image)
	if exit := new(exec.ExitError); errors.As(err, &exit) && exit.ExitCode() == 1 {
		err = nil
	}
	return errors.Join(err, d.mount(ctx))
}

// readOnly lets the disk take writes or not. Nobody may have a file of it open for writing.
func (d *disk) readOnly(only bool) error {
	flags := uintptr(syscall.MS_REMOUNT)
	if only {
		flags |= syscall.MS_RDONLY
	}
	if err := syscall.Mount("", d.folder, "", flags, ""); err != nil {
		return fmt.Errorf("mount again: %w", err)
	}
	return nil
}

// fail has the file system find an error, upon which it takes no writes any more, whoever
// has files open. It stands still meanwhile: Linux 6.18 calls some of what it is about to
// write at that moment synced, and loses it, whatever program wrote it.
func (d *disk) fail() error {
	if err := d.tell(freeze, nil); err != nil {
		return err
	}
	return errors.Join(d.findError(), d.tell(thaw, nil))
}

func (d *disk) findError() error {
	mounts, err := os.ReadFile("/proc/mounts")
	if err != nil {
		return err
	}
	for line := range strings.Lines(string(mounts)) {
		if at := strings.Fields(line); len(at) > 1 && at[1] == d.folder {
			return os.WriteFile(filepath.Join("/sys/fs/ext4", filepath.Base(at[0]), "trigger_fs_error"), []byte("1"), 0o200)
		}
	}
	return fmt.Errorf("%s is not mounted", d.folder)
}

// What the file system can be told (linux/fs.h; fs/ext4/ext4.h).
const (
	freeze         = 0xc0045877 // FIFREEZE
	thaw           = 0xc0045878 // FITHAW
	shutDown       = 0x8004587d // EXT4_IOC_SHUTDOWN
	withoutJournal = 2          // EXT4_GOING_FLAGS_NOLOGFLUSH: what was not synced is gone
)

// tell asks something of the file system.
func (d *disk) tell(what uintptr, how *uint32) error {
	folder, err := os.Open(d.folder)
	if err != nil {
		return err
	}
	defer folder.Close()
	if _, _, failed := syscall.Syscall(syscall.SYS_IOCTL, folder.Fd(), what, uintptr(unsafe.Pointer(how))); failed != 0 {
		return fmt.Errorf("tell the file system %#x: %w", what, failed)
	}
	return nil
}

// cutPower takes the disk away at once, with everything that was not synced.
func (d *disk) cutPower() error {
	how := uint32(withoutJournal)
	return d.tell(shutDown, &how)
}

// run runs a command of the system.
func run(ctx context.Context, name string, args ...string) error {
	if out, err := exec.CommandContext(ctx, name, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w: %s", name, err, strings.TrimSpace(string(out)))
	}
	return nil
}
