package main

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"time"

	"github.com/spf13/cobra"

	"sweepd/run"
	"sweepd/store"
	"sweepd/testday"
)

func (a *app) runListCommand() *cobra.Command {
	var f filterFlags
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List runs",
		Example: `  sweepd run list
  sweepd run list --last 10
  sweepd run list --since yesterday --finding hot_start
  sweepd run list --workload harbour-flight --supply battery --variant cores=6 --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q := f.request()
			if q.Last == 0 && cmd.Flags().Changed("last") {
				return misused(errors.New("--last 0: want a number of runs from 1"))
			}
			if _, err := q.Filter(time.Now()); err != nil {
				return err
			}
			runs, err := call(cmd.Context(), a, testday.ListRuns, q)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(runs)
			}
			if len(runs) == 0 {
				a.hintNames(cmd.Context(), q.Named())
				_, err := fmt.Fprintln(a.out, noRuns(q))
				return err
			}
			return a.printRuns(runs)
		},
	}
	f.add(cmd)
	f.addListed(cmd)
	return cmd
}

func (a *app) runShowCommand() *cobra.Command {
	var all bool
	cmd := &cobra.Command{
		Use:   "show RUN",
		Short: "Show what is kept of a run",
		Long: `Show what is kept of a run: what was run and how it went, and with --all what
each sensor showed and the facts of the device. --json always has all.
` + whichRun,
		Example: `  sweepd run show 3f9c21ab
  sweepd run show last --all
  sweepd run show last --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := call(cmd.Context(), a, testday.ShowRun, testday.RunRequest{ID: args[0]})
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(k)
			}
			return a.printKept(k, all)
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "also what each sensor showed, and the facts of the device")
	return cmd
}

// asEnded gives runs as they have ended where an agent could not store that so far.
func (a *app) asEnded(s store.Store) store.Runs { return testday.WithUnstored(s, a.endedRuns) }

// endedRuns are the runs that have ended and that an agent, if there is one, could not
// store so far.
func (a *app) endedRuns(ctx context.Context) []run.Record {
	_, kept := a.unstored(ctx)
	list := make([]run.Record, len(kept))
	for i := range kept {
		list[i].Run = kept[i]
	}
	return list
}

// noRuns says that there are none, or that none was selected.
func noRuns(q testday.FilterRequest) string {
	if reflect.ValueOf(q).IsZero() {
		return "no runs yet"
	}
	if ahead := q.Ahead(time.Now()); ahead != "" {
		return "no run fits: " + ahead
	}
	return "no run fits: `sweepd run list` without flags lists all"
}
