package agent

import (
	"context"
	"errors"
	"math"
	"time"

	"go.uber.org/zap"

	"sweepd/judge"
	"sweepd/run"
)

// lookEvery is the least time between two looks that count as idle sweeps, once there are
// enough of those.
const lookEvery = 10 * time.Second

// look takes a sweep between runs. Looks that come thick and fast, as of somebody who
// waits for the device to cool down, are no idle sweeps.
func (a *Agent) look(ctx context.Context) error {
	a.refresh(ctx)
	return a.do(ctx, func() error {
		if a.run != nil {
			return nil
		}
		now := a.opts.Clock.Now()
		if a.baseline.Learnt() && now.Boot-a.looked < lookEvery {
			return a.sweep(now, sweepLook)
		}
		a.looked = now.Boot
		return a.sweep(now, sweepIdle)
	})
}

// Ready looks at the device now. It takes a sweep, or none while a run is
// recording.
func (a *Agent) Ready(ctx context.Context, w run.Want) (r run.Readiness, err error) {
	if err := a.readHistory(ctx); err != nil {
		return r, err
	}
	if err := a.look(ctx); err != nil {
		return r, err
	}
	usual := a.usualLoad(ctx, w.Workload, w.Setting, w.Variant)
	err = a.do(ctx, func() error {
		if a.prev == nil {
			return errors.New("nothing was sampled yet: try again in a moment")
		}
		m := a.moment()
		m.UsualLoad = usual
		r = m.Readiness(w)
		return nil
	})
	return r, err
}

// usualLoad is how busy the processor usually is when such a run starts, NaN where that
// is not known.
func (a *Agent) usualLoad(ctx context.Context, workload string, s run.Setting, v run.Variant) float64 {
	if a.opts.EarlierStarts == nil || workload == "" {
		return math.NaN()
	}
	now := a.Live().Current.Cell()
	if s.Known() {
		now.Setting = s
	}
	now.Workload, now.Variant = workload, v
	earlier, err := a.opts.EarlierStarts(ctx, now)
	if err != nil {
		a.log.Warn("how busy the device usually is at a start could not be read", zap.Error(err))
	}
	return judge.UsualLoad(earlier)
}

// moment is the latest sweep as a run's start. It runs on the sampling goroutine.
func (a *Agent) moment() *judge.Moment {
	return &judge.Moment{Index: &a.index, Values: a.prev, Boot: a.last.Boot, Setting: a.labels.Setting, Read: a.shared.read,
		Declared: a.declared, Baseline: &a.baseline, Thresholds: a.opts.Thresholds}
}
