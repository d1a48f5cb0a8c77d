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
	if err != nil {
		return d, err
	}
	r, err := read()
	switch {
	case err == nil:
		r.Results = maps.Clone(r.Results)
		maps.Copy(r.Results, typed)
		d, err = a.AddResults(ctx, d.ID, r)
	case len(typed) > 0:
		_, failed := a.StopRun(ctx, run.Stop{Run: d.ID, Results: typed})
		err = errors.Join(err, failed)
	}
	if err != nil {
		return d, fmt.Errorf("run %s is stopped and kept, but without its frame times (give them with `sweepd run result %[1]s --frames FILE`): %w", run.ShortID(d.ID), err)
	}
	return complete(d), nil
}

// CorrectingAgent is an agent that also corrects the runs that it keeps.
type CorrectingAgent interface {
	Agent
	AddResults(ctx context.Context, id string, r FrameResults) (run.Record, error)
}
