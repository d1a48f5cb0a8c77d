package main

import (
	"path/filepath"

	"golang.org/x/sys/windows"
)

// usualDataDir is the folder in ProgramData, which all users and the service see.
func (a *app) usualDataDir() string {
	data := a.getenv("ProgramData")
	if data == "" { // so it is for a service that starts while Windows, or Wine, is being set up
		data, _ = windows.KnownFolderPath(windows.FOLDERID_ProgramData, windows.KF_FLAG_DEFAULT)
	}
	if data == "" {
		data = `C:\ProgramData`
	}
	return filepath.Join(data, "sweepd")
}

func (a *app) systemConfigPath() string { return filepath.Join(a.usualDataDir(), "sweepd.yaml") }

func (a *app) usualConfigs() []string { return []string{a.systemConfigPath()} }

func (a *app) serviceLogPath() string { return filepath.Join(a.usualDataDir(), "sweepd.log") }
