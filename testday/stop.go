package testday

import (
	"context"
	"errors"
	"fmt"
	"maps"

	"sweepd/run"
)

// Stop ends the run in progress. The direction of results may be open.
func Stop(ctx context.Context, a Agent, s run.Stop) (run.Record, error) {
	d, err := a.StopRun(ctx, s)
	return complete(d), err
}

// StopWithFrames ends the run in progress, then gives it the results of its frame
// times, which read makes: nothing is read before the run has ended. Those and the ones
// that s has are given together, so that whoever is killed meanwhile leaves all or none.
func StopWithFrames(ctx context.Context, a CorrectingAgent, s run.Stop, read func() (FrameResults, error)) (run.Record, error) {
	typed := s.Results
	s.Results = nil
	d, err := a.StopRun(ctx, s)
	var kept *run.NotStoredError
	if errors.As(err, &kept) { // where the run is kept, so are its results
		d = kept.Run
	} else if err != nil {
		return d, err
	}
	without := func(err error) error {
		return fmt.Errorf("run %s is stopped and kept, but without its frame times (give them with `sweepd run result %[1]s --frames FILE`): %w", run.ShortID(d.ID), err)
	}
	r, failed := read()
	if failed != nil {
		if len(typed) > 0 {
			_, err = a.StopRun(ctx, run.Stop{Run: d.ID, Results: typed})
		}
		return d, errors.Join(without(failed), err)
	}
	r.Results = maps.Clone(r.Results)
	maps.Copy(r.Results, typed)
	with, err := a.AddResults(ctx, d.ID, r)
	if err != nil && !errors.As(err, &kept) {
		return d, without(err)
	}
	return complete(with), err
}

// CorrectingAgent is an agent that also corrects the runs that it keeps.
type CorrectingAgent interface {
	Agent
	AddResults(ctx context.Context, id string, r FrameResults) (run.Record, error)
}
