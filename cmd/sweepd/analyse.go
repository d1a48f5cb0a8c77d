package main

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"sweepd/analysis"
	"sweepd/console"
	"sweepd/store"
)

// analysisFlags are those that all analyses have.
type analysisFlags struct {
	filterFlags
	metric string
	lower  []string
	noise  share
}

func (f *analysisFlags) add(cmd *cobra.Command, metric bool) {
	f.filterFlags.add(cmd)
	if metric {
		cmd.Flags().StringVar(&f.metric, "metric", "", "`NAME` of the result; unless given, the one that most runs have")
		cmd.Flags().StringArrayVar(&f.lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
	}
	cmd.Flags().Var(&f.noise, "noise", "standard deviation of one run, such as 1%, where nothing was repeated")
}

// selectRuns reads the runs that count, and tells on standard error which of
// the selected ones do not.
func (a *app) selectRuns(ctx context.Context, f *analysisFlags) (runs []analysis.Run, err error) {
	filter, err := f.filter()
	if err != nil {
		return nil, err
	}
	return runs, a.withStore(store.Options{ReadOnly: true}, func(s *store.Store, c config) error {
		var skipped store.Skipped
		runs, skipped, err = s.AnalysisRuns(ctx, filter)
		if err != nil {
			return err
		}
		console.PreferLower(runs, slices.Concat(c.Lower, f.lower))
		if skipped != (store.Skipped{}) {
			fmt.Fprintf(a.err, "not counted: %d rejected, %d interrupted, %d still recording\n", skipped.Rejected, skipped.Interrupted, skipped.Recording)
		}
		return nil
	})
}
