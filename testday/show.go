package testday

import (
	"context"

	"sweepd/run"
	"sweepd/store"
)

// KeptRun is all that is kept of a run, with what was corrected and decided since.
type KeptRun struct {
	run.Record
	History store.History `json:"history"`
}

// List reads the runs that the filter selects, as lists show them.
func List(ctx context.Context, s store.Runs, f store.Filter) ([]run.Run, error) {
	runs, err := s.Runs(ctx, f)
	return Listed(runs), err
}

// Show reads a run. id is any part that only one run has, or "last".
func Show(ctx context.Context, s store.Runs, id string) (k KeptRun, err error) {
	d, err := s.Run(ctx, id)
	if err != nil {
		return k, err
	}
	k.Record = complete(d)
	k.History, err = s.History(ctx, d.ID)
	return k, err
}
