package main

import "github.com/spf13/cobra"

func (a *app) actuatorsCommand() *cobra.Command {
	group := &cobra.Command{Use: "actuators", Short: "Put back what sweepd set", Example: "  sweepd actuators restore"}
	group.AddCommand(a.actuatorsRestoreCommand())
	return group
}
