package main

import (
	"github.com/spf13/cobra"

	"sweepd/testday"
)

func (a *app) planCommand() *cobra.Command {
	plan := &cobra.Command{
		Use:   "plan",
		Short: "Plan a test day, follow it, have it done by itself, and say what comes next",
		Example: `  sweepd plan new --workload harbour-flight --settings 8-28/4 --repeats 3
  sweepd plan next
  sweepd plan status`,
	}
	plan.AddCommand(a.planNewCommand(), a.planListCommand(), a.planFollowCommand(), a.planStatusCommand(), a.planNextCommand(), a.planExtendCommand(),
		a.planRunCommand(), a.planPauseCommand(), a.planResumeCommand(), a.planStopCommand(), a.planRunnerCommand())
	return plan
}

// estimateFlags are what a user says of runs and batteries.
type estimateFlags struct {
	run, pause string
	full       energiesFlag
	reserve    ratioFlag
	charge     float64
}

func (f *estimateFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.run, "run-time", "", "how long a run lasts, such as `5m`; unless given, as runs so far did, else 5m")
	cmd.Flags().StringVar(&f.pause, "pause", "", "`TIME` between two runs; unless given, as so far, else 90s")
	cmd.Flags().Var(&f.full, "full-energy", "what the battery holds when full, such as 48.6Wh or unit-oak=48.6Wh; unless given, as the devices say")
	cmd.Flags().Var(&f.reserve, "reserve", "`SHARE` of the full energy that runs leave (default 0%: but none is planned below 10%, where the finding battery_reserve begins)")
	cmd.Flags().Float64Var(&f.charge, "charge-power", 0, "`WATTS` that fill the battery while runs on mains go on; unless given, it takes 2 hours")
}

func (f *estimateFlags) request() testday.EstimateRequest {
	return testday.EstimateRequest{RunTime: f.run, Pause: f.pause, FullEnergy: f.full, Reserve: f.reserve.pointer(), ChargeW: f.charge}
}
