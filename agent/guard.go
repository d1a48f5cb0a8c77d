package agent

import (
	"context"
	"time"

	"go.uber.org/zap"

	"sweepd/internal/alarm"
	"sweepd/run"
)

// Guard looks at every sweep while somebody relies on it, and acts by itself. The agent
// hands it what was swept and never waits for it.
type Guard interface {
	// Every is the longest time between two sweeps that the guard bears, and of the age
	// of batteries' readings, which come once a second at most; 0 while nobody relies on
	// it. Any goroutine may call it.
	Every() time.Duration
	// Notify gives the guard what to call once Every has another answer, so that the
	// agent looks at once. It is called once, before the first sweep.
	Notify(changed func())
	// Observe is called on the sampling goroutine after each sweep, with the sensors, their
	// values (NaN where missing) and the labels in force. It keeps neither slice, returns at
	// once and does not call the agent. The slice of sensors is another one where the
	// sensors are.
	Observe(at run.Instant, sensors []run.Sensor, values []float64, in run.Labels)
}

// guardEvery is how often the guard wants a sweep, 0 for not at all.
func (a *Agent) guardEvery() time.Duration {
	if a.opts.Guard == nil {
		return 0
	}
	return a.opts.Guard.Every()
}

// guardLane forces sweeps while somebody relies on the guard: between runs, and where a
// run's own are further apart or late. While nobody does, it sleeps without a timer.
func (a *Agent) guardLane(ctx context.Context) {
	due := alarm.New()
	defer due.Close()
	for before := time.Duration(0); ; {
		every := a.guardEvery()
		if every != before {
			a.opts.Sensors.Hasten(every)
		}
		if every > 0 {
			due.Set(a.guardSweep(ctx, every, before == 0))
		} else {
			due.Off()
		}
		before = every
		select {
		case <-ctx.Done():
			return
		case <-a.guardChanged:
		case <-due.Rang():
		}
	}
}

// guardSweep takes a sweep if one is due, and says when to look again.
func (a *Agent) guardSweep(ctx context.Context, every time.Duration, first bool) time.Duration {
	// A run's own sweep that comes at the same time goes first.
	late := every + every/20
	if left := a.sweptAt() + late - a.opts.Clock.Now().Mono; left > 0 && !first {
		return min(left, late)
	}
	a.readForGuard(ctx)
	err := a.do(ctx, func() error {
		now := a.opts.Clock.Now()
		if now.Mono-a.last.Mono < every && !first {
			return nil
		}
		return a.sweep(now, sweepGuard)
	})
	if err != nil && ctx.Err() == nil {
		a.log.Error("sweep for the guards failed", zap.Error(err))
	}
	return late
}

// sweptAt is when the latest sweep was taken, on the monotonic clock.
func (a *Agent) sweptAt() time.Duration {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.shared.at.Mono
}

// readForGuard has the slow sensors read that are due, so that the sweep that follows has
// what they say now, and waits for it a little.
func (a *Agent) readForGuard(ctx context.Context) {
	now := a.opts.Clock.Now().Mono
	if !a.opts.Sensors.SlowDue(now) {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, edgeWait)
	defer cancel()
	r := laneRequest{now: now, done: make(chan struct{})}
	select {
	case a.slowRequests <- r:
	case <-ctx.Done():
		return
	}
	select {
	case <-r.done:
	case <-ctx.Done():
	}
}

// stepGuard is guardLane's work at one moment, in stepped mode.
func (a *Agent) stepGuard(now run.Instant) error {
	every := a.guardEvery()
	first := every != a.hastened
	if first {
		a.hastened = every
		a.opts.Sensors.Hasten(every)
	}
	if every == 0 || now.Mono-a.last.Mono < every && !first {
		return nil
	}
	if a.opts.Sensors.SlowDue(now.Mono) {
		a.shared.scanned = a.readSlow(now.Mono, a.shared.scanned)
	}
	return a.sweep(now, sweepGuard)
}
