//go:build unix

package main

import "syscall"

// apart keeps the signals of a terminal away from a process, and lets it outlive it.
func apart() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setsid: true} }
