package agent

import (
	"context"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// sweepKind says why a sweep is taken.
type sweepKind int

const (
	sweepPaced  sweepKind = iota // in a run, by the pacer
	sweepEdge                    // a run's start or stop
	sweepIdle                    // between runs, by the schedule
	sweepLook                    // between runs, by somebody who waits; not kept
	sweepLabels                  // labels changed; not kept between runs
	sweepGuard                   // for the guard; never kept
)

// sweep reads every sensor once, counts energy up to now under the labels in
// force until now, then lets the new labels hold.
func (a *Agent) sweep(now run.Instant, kind sweepKind) error {
	began := time.Now()
	values := a.opts.Sensors.Sweep(now.Mono)
	if len(values) != len(a.index.Sensors) {
		a.index = judge.NewSensorIndex(a.opts.Sensors.Sensors()[:len(values)])
	}
	out := a.meter.observe(&a.index, values, now)

	before := a.labels
	a.mu.Lock()
	a.shared.ledger.add(&a.index, a.prev, values, now.Mono-a.last.Mono, now.Mono, a.prevOut, out)
	a.relabelLocked(values, now.Mono)
	a.shared.note(now, &a.index, values, out, a.labels, a.run)
	a.mu.Unlock()
	if a.opts.Guard != nil {
		a.opts.Guard.Observe(now, a.index.Sensors, values, a.labels)
	}
	a.tellOfLabels(before)

	a.prev = append(a.prev[:0], values...)
	a.prevOut, a.last = out, now
	switch kind {
	case sweepIdle:
		a.baseline.Observe(&a.index, values, now.Boot)
	case sweepLook:
		a.baseline.Look(&a.index, values, now.Boot)
	}
	full := false
	if kind != sweepGuard && a.run != nil || kind == sweepIdle {
		if a.run != nil {
			a.run.sweeps++
		}
		full = a.batcher.add(a.device(), a.runID(), a.index.Sensors, run.Sweep{At: now, Values: values, Setting: a.labels.Setting, Supply: a.labels.Supply})
	}
	a.countSweep(time.Since(began))
	return a.afterSweep(now.Mono, full, kind)
}

func (a *Agent) runID() string {
	if a.run == nil {
		return ""
	}
	return a.run.record.ID
}

// afterSweep hands on the work that does not belong on the pacing path.
func (a *Agent) afterSweep(now time.Duration, full bool, kind sweepKind) error {
	slow := kind == sweepPaced && a.opts.Sensors.SlowDue(now)
	ask := kind == sweepPaced && a.commandDue(now)
	if a.opts.Stepped {
		if slow {
			a.shared.scanned = a.readSlow(now, a.shared.scanned)
		}
		if ask {
			a.askCommand(context.Background())
		}
		if full && kind != sweepEdge { // at an edge the caller stores
			return a.batcher.flush(context.Background(), false)
		}
		return nil
	}
	if full {
		offer(a.store, struct{}{})
	}
	if slow {
		offer(a.slowRequests, laneRequest{now: now})
	}
	if ask {
		offer(a.commandRequests, laneRequest{now: now})
	}
	return nil
}

// offer sends if somebody is ready or there is room; the next sweep offers
// again.
func offer[T any](c chan<- T, v T) bool {
	select {
	case c <- v:
		return true
	default:
		return false
	}
}
