package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// analysisFlags are those that all analyses have.
type analysisFlags struct {
	filterFlags
	metric string
	lower  []string
	noise  ratioFlag
}

func (f *analysisFlags) add(cmd *cobra.Command, metric bool) {
	f.filterFlags.add(cmd)
	if metric {
		cmd.Flags().StringVar(&f.metric, "metric", "", "`NAME` of the result; unless given, the one that most runs have")
		cmd.Flags().StringArrayVar(&f.lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
	}
	cmd.Flags().Var(&f.noise, "noise", "standard deviation of one run, such as 1%, where nothing was repeated")
}

// selection is what an analysis is about, and the configuration.
type selection struct {
	testday.Selection
	config config
}

// selectRuns reads the runs that count, and tells on standard error which of
// the selected ones do not.
func (a *app) selectRuns(ctx context.Context, f *analysisFlags) (x selection, err error) {
	filter, err := f.filter()
	if err != nil {
		return x, err
	}
	return x, a.withStore(sqlite.Options{ReadOnly: true}, func(s store.Store, c config) error {
		x.config = c
		x.Selection, err = testday.Select(ctx, s, filter, slices.Concat(c.Lower, f.lower))
		if err == nil {
			printSkipped(a.err, x.Skipped)
		}
		return err
	})
}

// shownDamaged is how many damaged runs are named.
const shownDamaged = 5

func printSkipped(w io.Writer, n store.Skipped) {
	var parts []string
	for _, x := range []struct {
		count int
		state string
	}{{n.Rejected, "rejected"}, {n.Interrupted, "interrupted"}, {n.Recording, "still recording"}} {
		if x.count > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.count, x.state))
		}
	}
	if len(n.Damaged) > 0 {
		parts = append(parts, fmt.Sprintf("%d damaged (%s)", len(n.Damaged), someOf(n.Damaged, shownDamaged)))
	}
	if len(parts) > 0 {
		fmt.Fprintf(w, "not counted: %s\n", strings.Join(parts, ", "))
	}
}
