package testday

import (
	"context"
	"errors"
	"maps"

	"sweepd/run"
)

// Stop ends the run in progress. The direction of results may be open.
func Stop(ctx context.Context, a Agent, s run.Stop) (run.Record, error) {
	d, err := a.StopRun(ctx, s)
	return complete(d), err
}

// StopDespite is Stop where u of what was asked for cannot be used.
func StopDespite(ctx context.Context, a Agent, s run.Stop, u Unusable) (run.Record, error) {
	return u.after(Stop(ctx, a, s))
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
	var without Unusable
	r, failed := read()
	if failed == nil {
		failed = r.checkFit(d.DurationS)
	}
	if failed != nil {
		without.Add(MeantFrames, failed)
		if len(typed) > 0 {
			d, err = a.StopRun(ctx, run.Stop{Run: d.ID, Results: typed})
		}
		return without.after(complete(d), err)
	}
	r.Results = maps.Clone(r.Results)
	maps.Copy(r.Results, typed)
	with, err := a.AddResults(ctx, d.ID, r)
	if err != nil && !errors.As(err, &kept) {
		without.Add(MeantFrames, err)
		return without.after(d, nil)
	}
	return complete(with), err
}

// CorrectingAgent is an agent that also corrects the runs that it keeps.
type CorrectingAgent interface {
	Agent
	AddResults(ctx context.Context, id string, r FrameResults) (run.Record, error)
}
