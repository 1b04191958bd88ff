package main

import (
	"fmt"
	"strings"
	"syscall"
)

// advise adds what to do to an error of the machine, which names the file and the fault but
// not the way out.
func advise(err error) error {
	for _, known := range []struct {
		fault syscall.Errno
		do    string
	}{
		{syscall.ENFILE, "the machine has too many files open: end what holds them, and start again"}, // before EMFILE
		{syscall.EROFS, "the disk takes no writes, as after a fault of it: see what the system's log says, check the " +
			"file system, mount it for writing, and start again"},
		{syscall.ENOSPC, "the disk is full: make room, and start again"},
		{syscall.EMFILE, "the process may open too few files: allow it more (\"ulimit -n\", or LimitNOFILE of the " +
			"systemd unit), and start again"},
	} {
		// What comes of the log's server and of the store is text, and the store writes it as C does.
		if strings.Contains(strings.ToLower(err.Error()), known.fault.Error()) {
			return fmt.Errorf("%w\n%s", err, known.do)
		}
	}
	return err
}
