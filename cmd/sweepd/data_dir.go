package main

import "os"

// Who says which folder holds the data.
const (
	fromFlag          = "--data"
	fromEnvironment   = "SWEEPD_DATA"
	fromConfiguration = "configuration"
	fromDefault       = "default"
	fromAgent         = "agent"
)

// dataDir is the folder that runs are kept in: --data, SWEEPD_DATA, the
// configuration, or the system's usual place.
func (a *app) dataDir(c config) string {
	dir, _ := a.dataDirFrom(c)
	return dir
}

// dataDirFrom is dataDir, and who says so.
func (a *app) dataDirFrom(c config) (dir, from string) {
	for _, x := range []struct{ dir, from string }{{a.data, fromFlag}, {a.getenv("SWEEPD_DATA"), fromEnvironment}, {c.Data, fromConfiguration}} {
		if x.dir != "" {
			return x.dir, x.from
		}
	}
	return a.usualDataDir(), fromDefault
}

// systemConfig is the configuration file of the system's agent, else that of the
// user's own, which holds for the commands beside it too; empty where there is none.
func (a *app) systemConfig() string {
	for _, path := range a.usualConfigs() {
		if _, err := os.Stat(path); err == nil {
			return path
		}
	}
	return ""
}
