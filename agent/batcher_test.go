package agent

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// stuck lets time go by while nothing can be stored.
func (s stepped) stuck(d time.Duration, why error) {
	s.n.fail(why)
	for ; d > 0; d -= 50 * time.Millisecond {
		s.m.advance(50 * time.Millisecond)
		_ = s.Step() // says that nothing can be stored
	}
	s.n.fail(nil)
}

// wantOnly is the only finding of a run, of that code and saying so.
func wantOnly(t *testing.T, d run.Record, code run.Code, says string) {
	t.Helper()
	if len(d.Findings) != 1 || d.Findings[0].Code != code || d.Findings[0].Severity != run.SeverityDoubt || !strings.Contains(d.Findings[0].Text, says) {
		t.Errorf("findings %+v, want %s alone saying %q", d.Findings, code, says)
	}
}

var score = run.Stop{Results: map[string]run.Result{"score": {Value: 1, Better: run.Higher}}}

// A store that is stuck for longer than sweeps are kept loses the oldest of them. The
// run says how many and when, and does not blame a busy device for the hole.
func TestSweepsLostToAStuckStore(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 9*time.Second)
	s.stuck(900*time.Second, errDisk)
	s.pass(t, 10*time.Second)
	d := mustStop(t, s.Agent, score)
	// Those of 600 s are kept, within a batch of 0.75 s.
	stored := s.n.sweeps[r.ID]
	lost := int(919/0.25) + 2 - len(stored)
	if lost < 4*299 || lost > 4*301 {
		t.Fatalf("%d sweeps are lost of 919 s, want about those of 300 s", lost)
	}
	wantOnly(t, d, run.ReadingsLost, fmt.Sprintf("%d sweeps from 09:30:", lost))
	hole := 0
	for i := 1; i < len(stored); i++ {
		if stored[i].At.Mono-stored[i-1].At.Mono > time.Second {
			hole++
			first, last := stored[i-1].At.Wall.Add(scripted.Interval), stored[i].At.Wall.Add(-scripted.Interval)
			want := fmt.Sprintf("from %s to %s UTC could not be stored", first.Format("15:04:05"), last.Format("15:04:05"))
			if !d.Findings[0].At.Equal(first) || !strings.Contains(d.Findings[0].Text, want) {
				t.Errorf("finding %q at %v, want %q at %v", d.Findings[0].Text, d.Findings[0].At, want, first)
			}
		}
	}
	// What is kept is the latest: the hole begins where the store got stuck.
	if hole != 1 || stored[len(stored)-1].At.Mono-scripted.Start.Mono != 919*time.Second {
		t.Errorf("%d holes, the last sweep at %v", hole, stored[len(stored)-1].At.Mono-scripted.Start.Mono)
	}
	if advice := d.Findings[0].Advice; advice == "" {
		t.Error("there is no advice")
	}
}

// Whenever a kill comes, what a run loses is the last second, or what came since its last
// sweep, whatever the interval.
func TestAKillLosesTheLastSecond(t *testing.T) {
	for _, interval := range []time.Duration{100 * time.Millisecond, DefaultInterval, 300 * time.Millisecond, 450 * time.Millisecond,
		500 * time.Millisecond, 900 * time.Millisecond, time.Second, 1500 * time.Millisecond, 10 * time.Second, time.Minute} {
		m, n := newMachine(scripted.OnMains), newNotebook()
		a, err := New(Options{Device: "unit-oak", Sensors: m, Recorder: n, Clock: m, Stepped: true, Interval: interval})
		if err != nil {
			t.Fatal(err)
		}
		s := stepped{a, m, n}
		r := mustStart(t, a, run.Start{Workload: "tile-sort"})
		kept, lost := m.Now().Mono, time.Duration(0)
		for passed := time.Duration(0); passed < 5*interval+5*time.Second; passed += 50 * time.Millisecond {
			s.pass(t, 50*time.Millisecond)
			// Killed just before the writing of what this sweep completed.
			lost = max(lost, m.Now().Mono-kept)
			if stored := n.sweeps[r.ID]; len(stored) > 0 {
				kept = stored[len(stored)-1].At.Mono
			}
		}
		if lost > max(keepWithin, interval) {
			t.Errorf("sampled every %v, a kill takes %v", interval, lost)
		}
	}
}

// Where sampling is held up, what was swept before is stored all the same.
func TestSweepsAreStoredWhileTheNextOneHangs(t *testing.T) {
	m, n := newMachine(scripted.OnMains), newNotebook()
	var hold sync.Mutex
	var swept atomic.Int32
	hang := make(chan struct{})
	m.show = func(d time.Duration) scripted.State {
		if swept.Add(1) == 15 { // in the midst of a batch of 9
			hang <- struct{}{}
			hold.Lock()
			hold.Unlock()
		}
		return scripted.OnMains(d)
	}
	a, _ := running(t, m, n)
	hold.Lock()
	defer hold.Unlock()
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	<-hang
	before := int(swept.Load()) - 1
	until(t, "all sweeps to be stored", func() bool { return n.stored(r.ID)+n.stored("") == before })
}

// What was lost is known to the agent that judges the run after a crash.
func TestLostSweepsAreKnownAfterACrash(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 9*time.Second)
	s.stuck(900*time.Second, errDisk)
	s.pass(t, 10*time.Second)
	n := s.n.copied() // the agent dies
	noted := n.runs[r.ID].Findings
	a, _ := running(t, newMachine(scripted.OnMains), n)
	mustStart(t, a, run.Start{Workload: "tile-sort"}) // the loop goes: the past is judged
	d := n.runs[r.ID]
	d.Findings = slices.DeleteFunc(d.Findings, func(f run.Finding) bool { return f.Code == run.ResultMissing })
	wantOnly(t, d, run.ReadingsLost, "could not be stored")
	if len(noted) != 1 || noted[0].Text != d.Findings[0].Text {
		t.Errorf("noted %+v, judged %+v", noted, d.Findings)
	}
	mustStop(t, a, run.Stop{})
}

// Sweeps that the store refuses are lost one stretch after the other.
func TestRefusedSweepsAreFound(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	refused := fmt.Errorf("%w: a value is infinite", run.ErrRefused)
	for range 2 {
		s.pass(t, 5*time.Second)
		s.stuck(5*time.Second, refused)
	}
	s.pass(t, 5*time.Second)
	d := mustStop(t, s.Agent, score)
	lost := 25*4 + 2 - s.n.stored(r.ID)
	wantOnly(t, d, run.ReadingsLost, fmt.Sprintf("%d sweeps in 2 stretches from 09:30:0", lost))
	if lost < 30 || lost > 50 {
		t.Errorf("%d sweeps are lost, want about 40", lost)
	}
	next := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 6*time.Second)
	if d := mustStop(t, s.Agent, score); d.ID != next.ID || len(d.Findings) != 0 {
		t.Errorf("the run after it has %v", d.Findings)
	}
}

// Idle sweeps that are lost concern no run, and are not kept in mind.
func TestLostIdleSweepsAreForgotten(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	for _, err := range []error{fmt.Errorf("%w: a value is infinite", run.ErrRefused), nil} {
		s.n.fail(err)
		if err := s.SweepIdle(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if len(s.batcher.lost) != 0 {
		t.Errorf("%+v is kept in mind", s.batcher.lost)
	}
}

// watchful is a Recorder that looks whether anybody could write sweeps of a run while
// that is being stored.
type watchful struct {
	*notebook
	batcher *batcher
	open    bool
}

func (w *watchful) BeginRun(ctx context.Context, d run.Record) error {
	if w.batcher.write.TryLock() {
		w.open = true
		w.batcher.write.Unlock()
	}
	return w.notebook.BeginRun(ctx, d)
}

// No sweep of a run is written before the run itself is stored: to a store it would be
// a stranger's.
func TestARunIsStoredBeforeItsSweeps(t *testing.T) {
	w := &watchful{notebook: newNotebook()}
	b := batcher{recorder: w, events: &Events{}, log: zap.NewNop()}
	w.batcher = &b
	_, err := b.begin(t.Context(), func() (d run.Record, err error) {
		d.ID = "run-1"
		for i := range 5 {
			b.add("unit-oak", d.ID, nil, run.Sweep{At: scripted.After(scripted.Start, time.Duration(i)*scripted.Interval)})
		}
		if b.write.TryLock() {
			w.open = true
			b.write.Unlock()
		}
		return d, nil
	})
	if err != nil || w.open {
		t.Errorf("sweeps could be written before their run was stored; error %v", err)
	}
	if err := b.flush(t.Context(), false); err != nil || w.stored("run-1") != 5 {
		t.Errorf("%d sweeps stored, error %v", w.stored("run-1"), err)
	}
}

// A failure that lasts is logged once, another one and one that comes back again.
func TestALastingFailureIsLoggedOnce(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	core, logs := observer.New(zap.ErrorLevel)
	s.batcher.log = zap.New(core)
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.stuck(5*time.Second, errDisk)
	s.stuck(5*time.Second, errDisk)
	s.pass(t, 3*time.Second)
	s.stuck(5*time.Second, errDisk)
	want := []string{"sweeps could not be stored; they are kept and tried again", "sweeps could not be stored; they are kept and tried again"}
	var got []string
	for _, l := range logs.All() {
		got = append(got, l.Message)
	}
	if !slices.Equal(got, want) {
		t.Errorf("logged %q, want %q", got, want)
	}
}
