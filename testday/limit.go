package testday

import (
	"context"
	"fmt"

	"sweepd/judge"
	"sweepd/store"
)

// Traces finds runs and reads their sweeps.
type Traces interface {
	store.Runs
	store.Readings
}

// LimitOfRun reads a power limit from what a run drew.
var LimitOfRun = &Operation[RunRequest, judge.InferredLimit]{
	About{Method: "GET", Path: "/runs/{id}/limit", Summary: "Says which power limit a run seems to have obeyed, by a flat top of its power."},
	func(ctx context.Context, d *Day, q RunRequest) (judge.InferredLimit, error) {
		return InferLimit(ctx, d.Store, q.ID)
	},
}

// InferLimit reads a power limit from what a run drew, for systems that report none.
// It only says what it found; declaring it is the user's.
func InferLimit(ctx context.Context, s Traces, id string) (judge.InferredLimit, error) {
	full, err := s.FindRun(ctx, id)
	if err != nil {
		return judge.InferredLimit{}, err
	}
	trace, err := s.Trace(ctx, full)
	if err != nil {
		return judge.InferredLimit{}, err
	}
	limit, err := judge.InferLimit(trace)
	if err != nil {
		err = requestError(fmt.Errorf("run %s: %w", full, err))
	}
	return limit, err
}
