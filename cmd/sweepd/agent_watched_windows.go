package main

import (
	"syscall"

	"golang.org/x/sys/windows"
)

// apart keeps the Ctrl-C of a console away from a process, and lets it outlive it.
func apart() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP | windows.DETACHED_PROCESS}
}
