package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/agent"
	"sweepd/console"
	"sweepd/store"
)

func (a *app) runCommand() *cobra.Command {
	run := &cobra.Command{
		Use:   "run",
		Short: "Start and stop runs, list them, correct them",
		Example: `  sweepd run start --workload harbour-flight --setting 25W
  sweepd run stop --result fps_mean=61.3fps
  sweepd run list --supply battery`,
	}
	run.AddCommand(a.runStartCommand(), a.runStopCommand(), a.runWatchCommand(), a.runListCommand(), a.runShowCommand(),
		a.runResultCommand(), a.runRejectCommand(), a.runKeepCommand())
	return run
}

// filterFlags select runs.
type filterFlags struct {
	device, workload, supply string
	variant                  []string
}

func (f *filterFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.device, "device", "", "only runs of this device")
	cmd.Flags().StringVar(&f.workload, "workload", "", "only runs of this workload")
	cmd.Flags().StringVar(&f.supply, "supply", "", "only runs on `mains` or battery")
	cmd.Flags().StringArrayVar(&f.variant, "variant", nil, "only runs with this `k=v` pair (repeatable)")
}

func (f *filterFlags) filter() (store.Filter, error) {
	variant, err := console.ParseVariant(f.variant)
	if err != nil {
		return store.Filter{}, misused(err)
	}
	switch s := agent.Supply(f.supply); s {
	case "", agent.Mains, agent.Battery:
		return store.Filter{Device: f.device, Workload: f.workload, Supply: s, Variant: variant}, nil
	}
	return store.Filter{}, misused(fmt.Errorf("supply %q is neither mains nor battery", f.supply))
}

// startFlags are what a user says when starting a run.
type startFlags struct {
	workload, setting, note string
	variant                 []string
}

func (f *startFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.workload, "workload", "", "`NAME` of what is run")
	cmd.Flags().StringVar(&f.setting, "setting", "", "the active power setting, in watts (`25W`) or by name; unless given, the one declared before or read from the system")
	cmd.Flags().StringArrayVar(&f.variant, "variant", nil, "`k=v` for anything else that was changed on purpose (repeatable)")
	cmd.Flags().StringVar(&f.note, "note", "", "`TEXT` to keep with the run")
}

func (f *startFlags) request() (console.StartRequest, error) {
	q := console.StartRequest{Workload: f.workload, Setting: f.setting, Note: f.note}
	for _, pair := range f.variant {
		if !console.IsPair(pair) {
			return q, misused(fmt.Errorf("variant %q is not a pair k=v, such as cores=6", pair))
		}
	}
	variant, err := console.ParseVariant(f.variant)
	q.Variant = variant
	if err != nil {
		return q, err
	}
	return q, q.Check()
}
