package main

import "os"

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

// systemConfig is the configuration file of the system's agent, which holds for
// the commands beside it too; empty where there is none.
func (a *app) systemConfig() string {
	path := a.systemConfigPath()
	if _, err := os.Stat(path); err != nil {
		return ""
	}
	return path
}
