package agent

import (
	"context"
	"fmt"

	"go.uber.org/zap"

	"sweepd/judge"
	"sweepd/run"
)

// readHistory reads the idle sweeps that were stored before this agent was made, so
// that it judges a run's start as if the agent had never been restarted. Whoever needs
// the baseline first waits for it, some milliseconds; read at the agent's own start it
// would delay the first sweep.
func (a *Agent) readHistory(ctx context.Context) error {
	select {
	case a.readingHistory <- struct{}{}:
		defer func() { <-a.readingHistory }()
	case <-ctx.Done():
		return ctx.Err()
	}
	if a.opts.History == nil || a.historyRead.Load() {
		return nil
	}
	earlier, err := a.readIdle(ctx)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		a.historyRead.Store(true)
		a.log.Warn("what idle looked like before the agent's start could not be read; without a minute of new idle sweeps no start is found hot", zap.Error(err))
		return nil
	}
	return a.do(ctx, func() error {
		if !a.historyRead.Swap(true) { // else done after its caller gave up
			earlier.Append(&a.baseline)
			a.baseline = *earlier
		}
		return nil
	})
}

// readIdle learns a baseline from the stored idle sweeps.
//
// Only the wall clock tells the age of a sweep across restarts. Those later than now
// are left out: the clock was set back since, and who knows when they were taken.
func (a *Agent) readIdle(ctx context.Context) (*judge.Baseline, error) {
	now := a.made.Wall.Round(0) // the wall clock alone
	trace, err := a.opts.History.IdleSweeps(ctx, a.device(), now.Add(-judge.BaselineAge))
	if err != nil {
		return nil, err
	}
	b := &judge.Baseline{}
	index := judge.NewSensorIndex(trace.Sensors())
	err = trace.Each(func(s run.Sweep) error {
		if age := now.Sub(s.At.Wall); age > 0 && age <= judge.BaselineAge {
			b.Observe(&index, s.Values, a.made.Boot-age)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the idle sweeps of %s: %w", a.device(), err)
	}
	return b, nil
}
