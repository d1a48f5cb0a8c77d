package agent

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// lookout is a guard that writes down when it looked.
type lookout struct {
	mu      sync.Mutex
	every   time.Duration
	changed func()
	seen    []time.Duration
	last    run.Labels
	values  []float64
}

func (g *lookout) Every() time.Duration   { g.mu.Lock(); defer g.mu.Unlock(); return g.every }
func (g *lookout) Notify(changed func())  { g.changed = changed }
func (g *lookout) sweeps() int            { g.mu.Lock(); defer g.mu.Unlock(); return len(g.seen) }
func (g *lookout) relyOn(d time.Duration) { g.mu.Lock(); g.every = d; g.mu.Unlock(); g.changed() }

func (g *lookout) Observe(at run.Instant, sensors []run.Sensor, values []float64, in run.Labels) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.seen, g.last = append(g.seen, at.Mono), in
	g.values = append(g.values[:0], values...)
}

// longest is the longest time between two sweeps from the one at position n on.
func (g *lookout) longest(n int) (d time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for ; n+1 < len(g.seen); n++ {
		d = max(d, g.seen[n+1]-g.seen[n])
	}
	return d
}

// While somebody relies on the guard it sees a sweep at least as often as it wants, in a
// run whose own are rarer too; what is kept is what is kept without it.
func TestGuardedSweepsLeaveNoTrace(t *testing.T) {
	type outcome struct {
		idle, inRun, slow int
		judged            string
	}
	day := func(t *testing.T, guard *lookout, every time.Duration) (o outcome) {
		m, n := newMachine(scripted.OnBattery), newNotebook()
		opts := Options{Device: "unit-oak", Sensors: m, Recorder: n, Clock: m, Stepped: true, Interval: 10 * time.Second}
		if guard != nil {
			opts.Guard = guard
		}
		a, err := New(opts)
		if err != nil {
			t.Fatal(err)
		}
		s := stepped{a, m, n}
		if every > 0 {
			guard.relyOn(every)
		}
		for range 12 {
			if err := s.SweepIdle(t.Context()); err != nil {
				t.Fatal(err)
			}
			s.pass(t, 10*time.Second)
		}
		r := mustStart(t, a, run.Start{Workload: "tile-sort"})
		s.pass(t, time.Minute)
		d := mustStop(t, a, run.Stop{})
		o.idle, o.inRun, o.slow = n.stored(""), n.stored(r.ID), m.slow
		idle := a.baseline.IdlePower(m.Now().Boot)
		o.judged = fmt.Sprint(*idle.PackageW, *idle.DischargeW, *d.PackageW, *d.SystemW, len(d.Summaries), d.Findings)
		return o
	}
	without := day(t, nil, 0)
	idle := &lookout{}
	unguarded := day(t, idle, 0)
	if unguarded != without {
		t.Errorf("with a guard that nobody relies on %+v, without %+v", unguarded, without)
	}
	g := &lookout{}
	guarded := day(t, g, 500*time.Millisecond)
	if guarded.slow < 180 {
		t.Errorf("slow sensors were read %d times in three minutes", guarded.slow)
	}
	guarded.slow = without.slow
	if guarded != without {
		t.Errorf("guarded %+v, without %+v", guarded, without)
	}
	if d := g.longest(0); d > 500*time.Millisecond || g.sweeps() < 360 {
		t.Errorf("%d sweeps, two of them %v apart", g.sweeps(), d)
	}
	if idle.sweeps() == 0 || g.last.Device != "unit-oak" || g.last.Supply != run.Battery || len(g.values) != len(scripted.Sensors) {
		t.Errorf("it saw %d sweeps, labels %+v, %d values", idle.sweeps(), g.last, len(g.values))
	}
}

// The agent's own loop forces sweeps from the moment that somebody relies on the guard
// until nobody does, between runs and in a run whose own sweeps are a minute apart.
func TestLoopForcesSweepsForTheGuard(t *testing.T) {
	m, n, g := newMachine(scripted.OnMains), newNotebook(), &lookout{}
	a, err := New(Options{Device: "unit-oak", Sensors: m, Recorder: n, Interval: MaxInterval, Guard: g})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	ctx, stop := context.WithCancel(t.Context())
	go func() { done <- a.Run(ctx) }()
	defer func() { stop(); <-done }()
	until(t, "the first sweep", func() bool { return g.sweeps() > 0 })
	g.relyOn(20 * time.Millisecond)
	until(t, "slow sensors to be hastened", func() bool { return m.hasty() == 20*time.Millisecond })
	at := g.sweeps()
	until(t, "20 sweeps between runs", func() bool { return g.sweeps() >= at+20 })
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	at = g.sweeps()
	until(t, "20 sweeps in a run", func() bool { return g.sweeps() >= at+20 })
	g.relyOn(0)
	until(t, "slow sensors to be left alone", func() bool { return m.hasty() == 0 })
	if err := a.do(ctx, func() error { at = g.sweeps(); return nil }); err != nil {
		t.Fatal(err)
	}
	d := mustStop(t, a, run.Stop{})
	if n := g.sweeps() - at; n != 1 {
		t.Errorf("%d sweeps at a stop that nobody guards", n)
	}
	if n := n.stored(r.ID); n != 2 || d.State != run.Finished {
		t.Errorf("run %s with %d sweeps stored, want its start and its stop", d.State, n)
	}
}
