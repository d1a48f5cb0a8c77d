package testday

import (
	"context"

	"sweepd/run"
	"sweepd/store"
)

// Selection is what an analysis is about.
type Selection struct {
	Runs        []run.Run     // that count
	Skipped     store.Skipped // how many selected ones do not
	SwitchedOff []run.Run     // interrupted on battery, which may be measured runtimes
}

// Select reads the runs that the filter selects. lower names the results of which less
// is better, beside those that were stored so.
func Select(ctx context.Context, s store.AnalysisRuns, f store.Filter, lower []string) (x Selection, err error) {
	if x.Runs, x.Skipped, err = s.AnalysisRuns(ctx, f); err != nil {
		return x, err
	}
	preferLower(x.Runs, lower)
	if x.Skipped.Interrupted > 0 {
		x.SwitchedOff, err = s.SwitchedOff(ctx, f)
	}
	return x, err
}
