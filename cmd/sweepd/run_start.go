package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/agent"
	"sweepd/console"
	"sweepd/report/text"
)

func (a *app) runStartCommand() *cobra.Command {
	var f startFlags
	cmd := &cobra.Command{
		Use:   "start --workload NAME",
		Short: "Start a run; the agent records until it is stopped",
		Example: `  sweepd run start --workload harbour-flight --setting 25W
  sweepd run start --workload tile-sort --variant cores=6 --variant fan=quiet --note "after the update"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q, err := f.request()
			if err != nil {
				return err
			}
			client, err := a.client()
			if err != nil {
				return misused(err)
			}
			run, err := client.StartRun(cmd.Context(), q)
			if err != nil {
				return err
			}
			return a.printStarted(run)
		},
	}
	f.add(cmd)
	return cmd
}

// printStarted says in one line what is recorded now, and warns of a setting
// that the system contradicts.
func (a *app) printStarted(run agent.Run) error {
	if warning := console.Contradiction(run); warning != "" {
		fmt.Fprintln(a.err, a.look(a.err).Paint("warning: "+warning, toneDoubt))
	}
	if a.json {
		return a.printJSON(run)
	}
	setting := "setting unknown"
	if run.Setting.Known() {
		setting = fmt.Sprintf("setting %s (%s)", run.Setting, run.Setting.Source)
	}
	supply := "supply unknown"
	if run.Supply != agent.SupplyUnknown {
		supply = "on " + string(run.Supply)
	}
	_, err := fmt.Fprintf(a.out, "run %s started: %s, %s, %s\n", text.ShortID(run.ID), run.Workload, setting, supply)
	return err
}
