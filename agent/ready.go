package agent

import (
	"context"
	"errors"

	"sweepd/judge"
	"sweepd/run"
)

// Ready looks at the device now. It takes an idle sweep, or none while a run is
// recording.
func (a *Agent) Ready(ctx context.Context, w run.Want) (r run.Readiness, err error) {
	if err := a.readHistory(ctx); err != nil {
		return r, err
	}
	if err := a.SweepIdle(ctx); err != nil {
		return r, err
	}
	err = a.do(ctx, func() error {
		if a.prev == nil {
			return errors.New("nothing was sampled yet: try again in a moment")
		}
		r = a.moment().Readiness(w)
		return nil
	})
	return r, err
}

// moment is the latest sweep as a run's start. It runs on the sampling goroutine.
func (a *Agent) moment() *judge.Moment {
	return &judge.Moment{Index: &a.index, Values: a.prev, Boot: a.last.Boot, Setting: a.labels.Setting, Read: a.shared.read,
		Baseline: &a.baseline, Thresholds: a.opts.Thresholds}
}
