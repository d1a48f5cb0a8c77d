package console

import (
	"context"
	"maps"
	"slices"
	"time"

	"sweepd/agent"
	"sweepd/run"
	"sweepd/store"
)

// Store is what the console needs of the data; *store.Store is one.
type Store interface {
	Runs(context.Context, store.Filter) ([]run.Run, error)
	Run(ctx context.Context, id string) (run.Record, error)
	FindRun(ctx context.Context, id string) (string, error)
	History(ctx context.Context, id string) (store.History, error)
	SetResult(ctx context.Context, id, name string, r run.Result, now time.Time) error
	Reject(ctx context.Context, id, why string, now time.Time) error
	Keep(ctx context.Context, id, why string, now time.Time) error
	ReplaceFinding(ctx context.Context, id string, code run.Code, f *run.Finding) error
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
	Results map[string]ResultMessage
	// FramesS is the time that the results' frame times cover, s; nil where they are
	// from elsewhere. FramesShort is the share of the run that they should cover, 0
	// for the default.
	FramesS     *float64
	FramesShort float64
	Decision    Decision
	Why         string // of the decision
}

// Amend changes a run and returns it as it is then. id is any part that only one
// run has, or "last"; lower names the results of which less is better.
func Amend(ctx context.Context, s Store, id string, change Amendment, lower []string, now time.Time) (run.Record, error) {
	results, err := Results(change.Results, lower)
	if err != nil {
		return run.Record{}, err
	}
	full, err := s.FindRun(ctx, id)
	if err != nil {
		return run.Record{}, err
	}
	if err := keepDirections(ctx, s, full, change.Results, results); err != nil {
		return run.Record{}, err
	}
	for _, name := range slices.Sorted(maps.Keys(results)) {
		if err := s.SetResult(ctx, full, name, results[name], now); err != nil {
			return run.Record{}, err
		}
	}
	if change.FramesS != nil {
		if err := noteFrames(ctx, s, full, change); err != nil {
			return run.Record{}, err
		}
	}
	switch change.Decision {
	case Reject:
		err = s.Reject(ctx, full, change.Why, now)
	case Keep:
		err = s.Keep(ctx, full, change.Why, now)
	}
	if err != nil {
		return run.Record{}, err
	}
	return s.Run(ctx, full)
}

// keepDirections lets a corrected result be better in the direction that it had,
// unless the correction says otherwise.
func keepDirections(ctx context.Context, s Store, id string, said map[string]ResultMessage, results map[string]run.Result) error {
	if len(results) == 0 {
		return nil
	}
	d, err := s.Run(ctx, id)
	if err != nil {
		return err
	}
	for name, r := range results {
		if old, corrected := d.Results[name]; corrected && said[name].Better == "" && old.Better != "" {
			r.Better = old.Better
			results[name] = r
		}
	}
	return nil
}

// noteFrames finds a run short of frames, or no longer.
func noteFrames(ctx context.Context, s Store, id string, change Amendment) error {
	d, err := s.Run(ctx, id)
	if err != nil {
		return err
	}
	if f, short := agent.CheckFrames(*change.FramesS, d.DurationS, change.FramesShort); short {
		return s.ReplaceFinding(ctx, id, run.FramesShort, &f)
	}
	return s.ReplaceFinding(ctx, id, run.FramesShort, nil)
}
