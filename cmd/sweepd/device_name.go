package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"sweepd/collectors"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// deviceName is the name that the agent gives to this machine where its data is s, and
// what the user should know of it, see testday.DeviceName.
func deviceName(ctx context.Context, c config, s store.Runs) (name, warning string, err error) {
	host, err := os.Hostname()
	if err != nil && c.Device == "" {
		return "", "", fmt.Errorf("the device needs a name (device: in the configuration), for the host has none: %w", err)
	}
	roots := collectors.HostRoots()
	n := testday.Naming{Configured: c.Device, Host: host, HostIsBare: roots.DefaultHostName(host)}
	n.Machine, n.ID = collectors.ReadMachine(roots)
	return testday.DeviceName(ctx, s, n)
}

// deviceHere is the name that an agent would give to this machine.
func (a *app) deviceHere(ctx context.Context, c config) (name string, err error) {
	s, err := sqlite.Open(a.dataDir(c), sqlite.Options{ReadOnly: true})
	if errors.Is(err, sqlite.ErrNoData) {
		name, _, err = deviceName(ctx, c, nil)
		return name, err
	}
	if err != nil {
		return "", err
	}
	name, _, err = deviceName(ctx, c, s)
	return name, errors.Join(err, s.Close())
}
