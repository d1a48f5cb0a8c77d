//go:build !windows && !linux

package main

import "github.com/spf13/cobra"

// serviceCommands are for Windows alone; elsewhere a package brings a unit.
func (a *app) serviceCommands() []*cobra.Command { return nil }
