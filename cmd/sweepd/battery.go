package main

import (
	"github.com/spf13/cobra"

	"sweepd/analysis"
	"sweepd/report/text"
)

func (a *app) batteryCommand() *cobra.Command {
	var f analysisFlags
	var full energies
	var reserve share
	cmd := &cobra.Command{
		Use:   "battery",
		Short: "Say what runs draw on battery and how long the battery lasts",
		Example: `  sweepd battery --full-energy 48.6Wh --reserve 5%
  sweepd battery --full-energy unit-oak=48.6Wh --full-energy unit-elm=52Wh --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			runs, err := a.selectRuns(cmd.Context(), &f)
			if err != nil {
				return err
			}
			result, err := analysis.Battery(runs, analysis.BatteryRequest{Full: full, Reserve: reserve.value, Declared: f.noise.value})
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(result)
			}
			return text.Battery(a.out, result, a.look(a.out))
		},
	}
	f.add(cmd, false)
	cmd.Flags().Var(&full, "full-energy", "`[DEVICE=]Wh` that the battery holds when full (repeatable); unless given, what the device says")
	cmd.Flags().Var(&reserve, "reserve", "`SHARE` of the full energy that is kept back, such as 5% (default 0%)")
	return cmd
}
