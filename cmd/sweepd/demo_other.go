//go:build !linux

package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"
)

var errLinuxOnly = errors.New("the demonstration simulates a Linux device's files and runs on Linux only; `sweepd import` and every analysis run here too")

// playDemo cannot be done: the simulated devices serve the files of a Linux
// kernel, whose names other systems do not allow.
func (a *app) playDemo(context.Context, string, string) error {
	return errLinuxOnly
}

func (a *app) liveDemo(context.Context, string, string, string) error { return errLinuxOnly }

func (a *app) liveCommands() []*cobra.Command { return nil }
