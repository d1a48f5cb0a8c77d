//go:build !docs

package main

import "github.com/spf13/cobra"

// docsCommands are built with the tag docs alone.
func (a *app) docsCommands() []*cobra.Command { return nil }
