package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
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

// selection is what the analyses are about.
type selection struct {
	runs        []run.Run // finished ones that nobody rejected
	switchedOff []run.Run // interrupted ones on battery
	config      config
}

// selectRuns reads the runs that count, and tells on standard error which of
// the selected ones do not.
func (a *app) selectRuns(ctx context.Context, f *analysisFlags) (selected selection, err error) {
	filter, err := f.filter()
	if err != nil {
		return selected, err
	}
	return selected, a.withStore(sqlite.Options{ReadOnly: true}, func(s store.Store, c config) error {
		runs, skipped, err := s.AnalysisRuns(ctx, filter)
		if err != nil {
			return err
		}
		console.PreferLower(runs, slices.Concat(c.Lower, f.lower))
		selected = selection{runs: runs, config: c}
		if skipped.Interrupted > 0 {
			if selected.switchedOff, err = s.SwitchedOff(ctx, filter); err != nil {
				return err
			}
		}
		tellSkipped(a.err, skipped)
		return nil
	})
}

func tellSkipped(w io.Writer, n store.Skipped) {
	var parts []string
	for _, x := range []struct {
		count int
		state string
	}{{n.Rejected, "rejected"}, {n.Interrupted, "interrupted"}, {n.Recording, "still recording"}} {
		if x.count > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.count, x.state))
		}
	}
	if len(parts) > 0 {
		fmt.Fprintf(w, "not counted: %s\n", strings.Join(parts, ", "))
	}
}
