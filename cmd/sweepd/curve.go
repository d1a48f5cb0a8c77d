package main

import (
	"github.com/spf13/cobra"

	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) curveCommand() *cobra.Command {
	var f analysisFlags
	cmd := &cobra.Command{
		Use:   "curve",
		Short: "Say how results scale with power, where that stops, and which settings are ignored",
		Example: `  sweepd curve --workload harbour-flight
  sweepd curve --metric fps_mean --device unit-oak --supply mains --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := call(cmd.Context(), a, testday.FindCurve, f.request())
			printSkipped(a.err, c.Skipped, err)
			if err != nil { // a selection that has runs has names that were seen
				a.hintNames(cmd.Context(), f.request().Named())
				return err
			}
			if a.json {
				return a.printJSON(c)
			}
			return text.Curve(a.out, c.Result(), a.terminal(a.out))
		},
	}
	f.add(cmd, true)
	return cmd
}
