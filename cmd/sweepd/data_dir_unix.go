//go:build unix

package main

import (
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// systemDataDir is the state folder of a system service (FHS 3.0, 5.8).
const systemDataDir = "/var/lib/sweepd"

// usualDataDir is the system's folder for those who may write there, else the
// user's own (XDG Base Directory Specification, XDG_STATE_HOME).
func (a *app) usualDataDir() string {
	if os.Geteuid() == 0 || writable(systemDataDir) {
		return systemDataDir
	}
	if dir := a.getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "sweepd")
	}
	return filepath.Join(a.getenv("HOME"), ".local", "state", "sweepd")
}

// writable tells whether a folder exists and this user may write in it.
func writable(dir string) bool { return unix.Access(dir, unix.W_OK|unix.X_OK) == nil }

// usualConfigs is the system's file and the user's own (XDG_CONFIG_HOME).
func (a *app) usualConfigs() []string {
	dir := a.getenv("XDG_CONFIG_HOME")
	if !filepath.IsAbs(dir) {
		dir = filepath.Join(a.getenv("HOME"), ".config")
	}
	return []string{"/etc/sweepd/sweepd.yaml", filepath.Join(dir, "sweepd", "sweepd.yaml")}
}
