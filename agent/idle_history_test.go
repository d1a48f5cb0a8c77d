package agent

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// restarted is an agent that takes over machine and notebook of one that died.
func (s stepped) restarted(t *testing.T) stepped {
	t.Helper()
	a, err := New(Options{Device: "unit-oak", Sensors: s.m, Recorder: s.n, History: s.n, Clock: s.m, Stepped: true,
		NewID: func(time.Time) (string, error) { return "run-after", nil }})
	if err != nil {
		t.Fatal(err)
	}
	return stepped{a, s.m, s.n}
}

// idle takes idle sweeps every 10 s for a time.
func (s stepped) idle(t *testing.T, d time.Duration) {
	t.Helper()
	for ; d > 0; d -= 10 * time.Second {
		s.m.advance(10 * time.Second)
		if err := s.SweepIdle(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
}

// judge looks whether the device is fit and does a run.
func (s stepped) judge(t *testing.T) (run.Readiness, []run.Finding) {
	t.Helper()
	ready, err := s.Ready(context.Background(), run.Want{})
	if err != nil {
		t.Fatal(err)
	}
	mustStart(t, s.Agent, run.Start{Workload: "harbour-flight"})
	s.pass(t, 10*time.Second)
	return ready, mustStop(t, s.Agent, run.Stop{Results: map[string]run.Result{"score": {Value: 1, Better: run.Higher}}}).Findings
}

// An agent that was restarted judges the next run like one that never stopped.
func TestARestartIsNotSeenInTheNextRun(t *testing.T) {
	for _, c := range []struct {
		name string
		// before is what the machine did until the restart, now what it is like
		// then.
		before func(*testing.T, stepped, *scripted.State)
		now    func(*scripted.State)
		idle   time.Duration // after it, until the run
		hot    string        // what both say of the start; "" for nothing
	}{
		{"hot",
			func(t *testing.T, s stepped, _ *scripted.State) { s.idle(t, 10*time.Minute) },
			func(x *scripted.State) { x.Celsius = 62 }, 0, "22.0 K above its idle baseline"},
		{"warm, not hot",
			func(t *testing.T, s stepped, _ *scripted.State) { s.idle(t, 10*time.Minute) },
			func(x *scripted.State) { x.Celsius = 49 }, 0, ""},
		{"more than the baseline holds",
			func(t *testing.T, s stepped, x *scripted.State) {
				x.Celsius = 20
				s.idle(t, 2*time.Hour)
				for k := range 800 {
					x.Celsius = 40 + float64(k%10)
					s.idle(t, 10*time.Second)
				}
			},
			func(x *scripted.State) { x.Celsius = 62 }, 0, "20.0 K above its idle baseline"},
		{"another supply and another limit",
			func(t *testing.T, s stepped, x *scripted.State) {
				x.Online, x.Limit = 1, 25
				s.idle(t, 8*time.Minute)
				x.Online, x.Limit, x.Celsius = 0, 15, 55
				s.idle(t, 10*time.Minute)
			},
			func(x *scripted.State) { x.Celsius = 62 }, 0, "22.0 K above its idle baseline"},
		{"runs in between",
			func(t *testing.T, s stepped, x *scripted.State) {
				for range 3 {
					x.Celsius = 41
					s.idle(t, 3*time.Minute)
					x.Celsius = 80
					s.judge(t)
				}
			},
			func(x *scripted.State) { x.Celsius = 62 }, 0, "21.0 K above its idle baseline"},
		{"a sensor that was missing at times",
			func(t *testing.T, s stepped, x *scripted.State) {
				for k := range 100 {
					x.Celsius = 44
					if k%3 == 0 {
						x.Celsius = math.NaN()
					}
					s.idle(t, 10*time.Second)
				}
			},
			func(x *scripted.State) { x.Celsius = 62 }, 0, "18.0 K above its idle baseline"},
		{"yesterday was cold",
			func(t *testing.T, s stepped, x *scripted.State) {
				x.Celsius = 20
				s.idle(t, time.Hour)
				s.m.advance(15 * time.Hour)
				x.Celsius = 40
				s.idle(t, 2*time.Minute)
			},
			func(x *scripted.State) { x.Celsius = 49 }, 0, ""},
		{"only yesterday",
			func(t *testing.T, s stepped, _ *scripted.State) { s.idle(t, time.Hour); s.m.advance(15 * time.Hour) },
			func(x *scripted.State) { x.Celsius = 62 }, 0, ""},
		{"too few",
			func(t *testing.T, s stepped, _ *scripted.State) { s.idle(t, 40*time.Second) },
			func(x *scripted.State) { x.Celsius = 62 }, 0, ""},
		{"few before and few after",
			func(t *testing.T, s stepped, _ *scripted.State) { s.idle(t, 30*time.Second) },
			func(x *scripted.State) { x.Celsius = 62 }, 30 * time.Second, "22.0 K above its idle baseline"},
		{"nothing yet",
			func(*testing.T, stepped, *scripted.State) {},
			func(x *scripted.State) { x.Celsius = 62 }, 0, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			now := scripted.OnBattery(0)
			now.Celsius = 40
			s := newStepped(t, func(time.Duration) scripted.State { return now })
			c.before(t, s, &now)
			c.now(&now)
			s.m.advance(10 * time.Second)
			after := stepped{nil, &machine{now: s.m.now, show: s.m.show}, s.n.copied()}.restarted(t)
			s.idle(t, c.idle)
			after.idle(t, c.idle)
			ready, findings := s.judge(t)
			readyAfter, findingsAfter := after.judge(t)
			if diff := cmp.Diff(ready, readyAfter); diff != "" {
				t.Errorf("ready (-never stopped +restarted):\n%s", diff)
			}
			if diff := cmp.Diff(findings, findingsAfter); diff != "" {
				t.Errorf("findings (-never stopped +restarted):\n%s", diff)
			}
			at := slices.IndexFunc(findingsAfter, func(f run.Finding) bool { return f.Code == run.HotStart })
			if (at >= 0) != (c.hot != "") || at >= 0 && !strings.Contains(findingsAfter[at].Text, c.hot) {
				t.Errorf("findings %v, want %q", findingsAfter, c.hot)
			}
		})
	}
}

// Where the clock was set, the wall time of a sweep may say nothing of its age.
func TestRecallAfterTheClockWasSet(t *testing.T) {
	for _, c := range []struct {
		name  string
		set   time.Duration
		known bool
	}{
		{"not at all", 0, true},
		{"forward by an hour", time.Hour, true},
		{"forward by years, as without a battery for the clock", 30 * 365 * 24 * time.Hour, false},
		{"back by an hour: the sweeps lie ahead", -time.Hour, false},
		{"back by a minute: most are known", -time.Minute, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			now := scripted.OnBattery(0)
			now.Celsius = 40
			s := newStepped(t, func(time.Duration) scripted.State { return now })
			s.idle(t, 20*time.Minute)
			s.m.now.Wall = s.m.now.Wall.Add(c.set)
			now.Celsius = 62
			ready, err := s.restarted(t).Ready(context.Background(), run.Want{})
			if err != nil || (ready.AboveBaseline != nil) != c.known || ready.AboveBaseline != nil && *ready.AboveBaseline != 22 {
				t.Errorf("ready %+v, error %v; known: want %v", ready, err, c.known)
			}
			// An agent that goes on does not go by the wall clock.
			if ready, err := s.Ready(context.Background(), run.Want{}); err != nil || ready.AboveBaseline == nil || *ready.AboveBaseline != 22 {
				t.Errorf("the agent that went on: ready %+v, error %v", ready, err)
			}
		})
	}
}

// brokenHistory cannot be read.
type brokenHistory struct{}

func (brokenHistory) IdleSweeps(context.Context, string, time.Time) (run.Trace, error) {
	return nil, errDisk
}

func TestAHistoryThatFailsKeepsNothingUp(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	core, seen := observer.New(zap.WarnLevel)
	s.opts.History, s.log = brokenHistory{}, zap.New(core)
	if ready, err := s.Ready(context.Background(), run.Want{}); err != nil || ready.AboveBaseline != nil {
		t.Errorf("ready %+v, error %v", ready, err)
	}
	if n := seen.FilterField(zap.Error(errDisk)).Len(); n != 1 {
		t.Errorf("%d warnings, want one: %v", n, seen.All())
	}
	s.idle(t, time.Minute)
	if ready, err := s.Ready(context.Background(), run.Want{}); err != nil || ready.AboveBaseline == nil {
		t.Errorf("after a minute: ready %+v, error %v", ready, err)
	}
}

// slowHistory gives its sweeps only when told.
type slowHistory struct {
	IdleHistory
	asked, give chan struct{}
}

func (h slowHistory) IdleSweeps(ctx context.Context, device string, since time.Time) (run.Trace, error) {
	h.asked <- struct{}{}
	select {
	case <-h.give:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return h.IdleHistory.IdleSweeps(ctx, device, since)
}

// The first sweeps do not wait for the past; a start does, and the next one has it
// though the first gave up.
func TestOnlyStartsWaitForThePast(t *testing.T) {
	now := scripted.OnMains(0)
	now.Celsius = 40
	s := newStepped(t, func(time.Duration) scripted.State { return now })
	s.idle(t, 5*time.Minute)
	now.Celsius = 62
	h := slowHistory{s.n, make(chan struct{}), make(chan struct{})}
	a, err := New(Options{Device: "unit-oak", Sensors: s.m, Recorder: s.n, History: h, Clock: s.m})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-done })

	impatient, giveUp := context.WithCancel(ctx)
	gaveUp := make(chan error, 1)
	go func() {
		_, err := a.StartRun(impatient, run.Start{Workload: "tile-sort"})
		gaveUp <- err
	}()
	<-h.asked
	var snap Snapshot
	until(t, "a sweep", func() bool { a.Snapshot(&snap); return snap.Sweeps > 0 })
	giveUp()
	if err := <-gaveUp; !errors.Is(err, context.Canceled) {
		t.Errorf("gave up with %v", err)
	}

	ready := make(chan run.Readiness, 1)
	go func() {
		r, err := a.Ready(ctx, run.Want{})
		if err != nil {
			t.Error(err)
		}
		ready <- r
	}()
	<-h.asked
	close(h.give)
	if r := <-ready; r.AboveBaseline == nil || *r.AboveBaseline != 22 {
		t.Errorf("ready %+v, want 22 K above", r)
	}
	mustStart(t, a, run.Start{Workload: "tile-sort"}) // and is not read again
	d := mustStop(t, a, run.Stop{})
	if !slices.ContainsFunc(d.Findings, func(f run.Finding) bool {
		return f.Code == run.HotStart && strings.Contains(f.Text, "22.0 K above")
	}) {
		t.Errorf("findings %v, want a hot start", d.Findings)
	}
}
