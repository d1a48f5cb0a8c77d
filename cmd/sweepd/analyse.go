package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

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

// request is what the flags ask for.
func (f *analysisFlags) request() testday.AnalysisRequest {
	return testday.AnalysisRequest{FilterRequest: f.filterFlags.request(), Metric: f.metric, Lower: f.lower, Noise: f.noise.value}
}

// shownDamaged is how many damaged runs are named.
const shownDamaged = 5

// printSkipped tells which of the selected runs an analysis did not take; where it
// failed, its error says.
func printSkipped(w io.Writer, n testday.SkippedJSON, err error) {
	var failed *testday.SelectionError
	if errors.As(err, &failed) {
		n = failed.Skipped
	}
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
