package main

import (
	"github.com/spf13/cobra"

	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) batteryCommand() *cobra.Command {
	var f analysisFlags
	var full energiesFlag
	var reserve ratioFlag
	cmd := &cobra.Command{
		Use:   "battery",
		Short: "Say what runs draw on battery and how long the battery lasts",
		Long: `Say what runs draw on battery, what of that is not the package's, and how long the
battery lasts at each setting, with intervals. What the battery holds comes from the
device itself or from --full-energy, for a device (unit-oak=48.6Wh), for a variant
such as an external pack (pack=100Wh=148.6Wh, or device=unit-oak,pack=100Wh=148.6Wh),
and with its standard error where that is known (48.6Wh+-2%). A run that emptied the
battery, down to 10 % or the reserve, is a measured runtime: it stands beside its
prediction, also where the device switched off and took the agent with it.`,
		Example: `  sweepd battery --full-energy 48.6Wh --reserve 5%
  sweepd battery --full-energy unit-oak=48.6Wh+-2% --full-energy unit-elm=52Wh --json
  sweepd battery --full-energy 48.6Wh --full-energy pack=100Wh=148.6Wh`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			b, err := call(cmd.Context(), a, testday.FindBattery, testday.BatteryRequest{AnalysisRequest: f.request(), FullEnergy: full, Reserve: reserve.value})
			printSkipped(a.err, b.Skipped, err)
			if err != nil { // a selection that has runs has names that were seen
				a.hintNames(cmd.Context(), f.request().Named())
				return err
			}
			if a.json {
				return a.printJSON(b)
			}
			return text.Battery(a.out, b.Result(), a.terminal(a.out))
		},
	}
	f.add(cmd, false)
	cmd.Flags().Var(&full, "full-energy", "`[WHOSE=]Wh[+-SHARE]` that the battery holds when full (repeatable); unless given, what the device says")
	cmd.Flags().Var(&reserve, "reserve", "`SHARE` of the full energy that the runtime keeps back, such as 5% (default 0%: until it is empty)")
	return cmd
}
