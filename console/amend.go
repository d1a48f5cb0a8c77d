package console

import (
	"context"
	"maps"
	"slices"
	"time"

	"sweepd/agent"
	"sweepd/store"
)

// Store is what the console needs of the data; *store.Store is one.
type Store interface {
	Runs(context.Context, store.Filter) ([]agent.Run, error)
	Run(ctx context.Context, id string) (agent.Detail, error)
	FindRun(ctx context.Context, id string) (string, error)
	SetResult(ctx context.Context, id, name string, r agent.Result, now time.Time) error
	Reject(ctx context.Context, id, why string, now time.Time) error
	Keep(ctx context.Context, id, why string, now time.Time) error
}

var _ Store = (*store.Store)(nil)

// Decision is what a user decides about a run.
type Decision string

const (
	Undecided Decision = ""
	Reject    Decision = "reject" // no comparison counts it
	Keep      Decision = "keep"   // count it again
)

// Amendment is what a user changes about a run that is kept.
type Amendment struct {
	Results  map[string]ResultMessage
	Decision Decision
	Why      string // of the decision
}

// Amend changes a run and returns it as it is then. id is any part that only one
// run has, or "last"; lower names the results of which less is better.
func Amend(ctx context.Context, s Store, id string, change Amendment, lower []string, now time.Time) (agent.Detail, error) {
	results, err := Results(change.Results, lower)
	if err != nil {
		return agent.Detail{}, err
	}
	full, err := s.FindRun(ctx, id)
	if err != nil {
		return agent.Detail{}, err
	}
	for _, name := range slices.Sorted(maps.Keys(results)) {
		if err := s.SetResult(ctx, full, name, results[name], now); err != nil {
			return agent.Detail{}, err
		}
	}
	switch change.Decision {
	case Reject:
		err = s.Reject(ctx, full, change.Why, now)
	case Keep:
		err = s.Keep(ctx, full, change.Why, now)
	}
	if err != nil {
		return agent.Detail{}, err
	}
	return s.Run(ctx, full)
}
