//go:build unix

package main

import "golang.org/x/sys/unix"

// writable tells whether a folder exists and this user may write in it.
func writable(dir string) bool { return unix.Access(dir, unix.W_OK|unix.X_OK) == nil }
