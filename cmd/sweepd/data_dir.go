package main

import (
	"os"
	"path/filepath"
	"runtime"
)

// dataDir is the folder that runs are kept in: --data, SWEEPD_DATA, the
// configuration, or the system's usual place.
func (a *app) dataDir(c config) string {
	for _, dir := range []string{a.data, a.getenv("SWEEPD_DATA"), c.Data} {
		if dir != "" {
			return dir
		}
	}
	return a.usualDataDir()
}

// systemDataDir is the state folder of a system service (FHS 3.0, 5.8).
const systemDataDir = "/var/lib/sweepd"

// usualDataDir is the system's folder for those who may write there, else the
// user's own (XDG Base Directory Specification, XDG_STATE_HOME).
func (a *app) usualDataDir() string {
	if runtime.GOOS == "windows" {
		return filepath.Join(a.getenv("ProgramData"), "sweepd")
	}
	if os.Geteuid() == 0 || writable(systemDataDir) {
		return systemDataDir
	}
	if dir := a.getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "sweepd")
	}
	return filepath.Join(a.getenv("HOME"), ".local", "state", "sweepd")
}

// systemConfig is the configuration file of the system's agent, which holds for
// the commands beside it too; empty where there is none.
func (a *app) systemConfig() string {
	path := "/etc/sweepd/sweepd.yaml"
	if runtime.GOOS == "windows" {
		path = filepath.Join(a.getenv("ProgramData"), "sweepd", "sweepd.yaml")
	}
	if _, err := os.Stat(path); err != nil {
		return ""
	}
	return path
}
