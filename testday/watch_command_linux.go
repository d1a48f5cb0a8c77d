package testday

import (
	"syscall"

	"golang.org/x/sys/unix"
)

// dieWithParent has the command's own process killed where this one is, which nobody
// can prepare for: PR_SET_PDEATHSIG(2const). It counts from the thread that starts it, so
// the caller has to stay on one.
func dieWithParent(a *syscall.SysProcAttr) { a.Pdeathsig = unix.SIGKILL }
