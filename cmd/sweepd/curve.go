package main

import (
	"github.com/spf13/cobra"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) curveCommand() *cobra.Command {
	var f analysisFlags
	cmd := &cobra.Command{
		Use:   "curve",
		Short: "Say how results scale with the setting, where scaling stops, and which settings are ignored",
		Example: `  sweepd curve --workload harbour-flight
  sweepd curve --metric fps_mean --device unit-oak --supply mains --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			selected, err := a.selectRuns(cmd.Context(), &f)
			if err != nil {
				return err
			}
			result, err := testday.Curve(selected.Selection, analysis.CurveRequest{Metric: f.metric, Declared: f.noise.value})
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(sentence.CurveAsJSON(result))
			}
			return text.Curve(a.out, result, a.terminal(a.out))
		},
	}
	f.add(cmd, true)
	return cmd
}
