package clickhousetest

import (
	"os/exec"
	"syscall"
)

// tie makes the program end when the thread that starts it does, so that it does
// not outlive a test that panics or runs out of time.
func tie(c *exec.Cmd) { c.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }
