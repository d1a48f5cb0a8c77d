//go:build !windows

package main

import (
	"context"

	"github.com/spf13/cobra"
)

// serviceCommands are for Windows alone; elsewhere a package brings a unit.
func (a *app) serviceCommands() []*cobra.Command { return nil }

// supervised runs the agent under whatever service manager started it.
func (a *app) supervised(ctx context.Context, run func(context.Context) error) error { return run(ctx) }
