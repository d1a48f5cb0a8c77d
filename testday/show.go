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

// ListRuns lists the runs that a filter selects, as lists show them.
var ListRuns = &Operation[FilterRequest, []run.Run]{
	About{Method: "GET", Path: "/runs", Summary: "Lists runs."},
	func(ctx context.Context, d *Day, q FilterRequest) ([]run.Run, error) {
		f, err := q.Filter(d.Now)
		if err != nil {
			return nil, err
		}
		return List(ctx, d.Store, f)
	},
}

// ShowRun shows all that is kept of a run.
var ShowRun = &Operation[RunRequest, KeptRun]{
	About{Method: "GET", Path: "/runs/{id}", Summary: "Shows all that is kept of a run."},
	func(ctx context.Context, d *Day, q RunRequest) (KeptRun, error) { return Show(ctx, d.Store, q.ID) },
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
