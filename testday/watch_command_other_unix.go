//go:build unix && !linux

package testday

import "syscall"

// dieWithParent does nothing here: the system has no word for it.
func dieWithParent(*syscall.SysProcAttr) {}
