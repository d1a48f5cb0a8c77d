package console

import (
	"context"
	"time"

	"sweepd/agent"
	"sweepd/run"
	"sweepd/store"
)

// Store is what the console needs of the data; a store.Store is one.
type Store interface {
	Runs(context.Context, store.Filter) ([]run.Run, error)
	Run(ctx context.Context, id string) (run.Record, error)
	FindRun(ctx context.Context, id string) (string, error)
	History(ctx context.Context, id string) (store.History, error)
	Correct(ctx context.Context, id string, c run.Correction) (run.Record, error)
}

// Amendment is what a user changes about a run that is kept.
type Amendment struct {
	Results map[string]ResultMessage
	// FramesS is the time that the results' frame times cover, s; nil where they are
	// from elsewhere. FramesShort is the share of the run that they should cover, 0
	// for the default.
	FramesS     *float64
	FramesShort float64
	Decision    run.Decision
	Why         string // of the decision
}

// Amend changes a run and returns it as it is then. id is any part that only one
// run has, or "last"; lower names the results of which less is better.
func Amend(ctx context.Context, s Store, id string, change Amendment, lower []string, now time.Time) (run.Record, error) {
	results, err := Results(change.Results, lower)
	if err != nil {
		return run.Record{}, err
	}
	r, err := s.Run(ctx, id)
	if err != nil {
		return r, err
	}
	c := run.Correction{Results: map[string]run.NewResult{}, Decision: change.Decision, Why: change.Why, At: now}
	for name, result := range results {
		c.Results[name] = run.NewResult{Result: result, KeepBetter: change.Results[name].Better == ""}
	}
	if change.FramesS != nil {
		c.Findings = map[run.Code]*run.Finding{run.FramesShort: nil} // no longer, if it was
		if f, short := agent.CheckFrames(*change.FramesS, r.DurationS, change.FramesShort); short {
			c.Findings[run.FramesShort] = &f
		}
	}
	return s.Correct(ctx, r.ID, c)
}
