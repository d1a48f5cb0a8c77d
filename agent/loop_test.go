package agent

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"sweepd/internal/scripted"
	"sweepd/run"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// running is an agent whose own loop samples, every 100 ms in real time.
func running(t *testing.T, m *machine, n *notebook) (a *Agent, stop func() error) {
	t.Helper()
	a, err := New(Options{Device: "unit-oak", Sensors: m, Recorder: n, Interval: MinInterval})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	stopped := false
	stop = func() error {
		if stopped {
			return nil
		}
		stopped = true
		cancel()
		return <-done
	}
	t.Cleanup(func() { _ = stop() })
	return a, stop
}

func TestLoopRecordsARun(t *testing.T) {
	m, n := newMachine(scripted.OnMains), newNotebook()
	a, stop := running(t, m, n)
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	until(t, "12 sweeps on disk", func() bool { return n.stored(r.ID) >= 12 })
	d := mustStop(t, a, run.Stop{})
	if d.DurationS == nil || *d.DurationS < 1 || len(d.Summaries) == 0 {
		t.Errorf("judged %+v", d)
	}
	// Without drift: the k-th paced sweep lies on the grid that the start began.
	sweeps := n.sweeps[r.ID]
	for k, s := range sweeps[:len(sweeps)-1] {
		if off := s.At.Mono - sweeps[0].At.Mono - time.Duration(k)*MinInterval; off < -time.Millisecond {
			t.Errorf("sweep %d is %v before its time", k, -off)
		}
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// An agent that has nothing to do ends at once when it is told to.
func TestAnIdleAgentStops(t *testing.T) {
	a, stop := running(t, newMachine(scripted.OnMains), newNotebook())
	until(t, "the first sweep", func() bool {
		var s Snapshot
		a.Snapshot(&s)
		return s.Sweeps > 0
	})
	ended := make(chan error, 1)
	go func() { ended <- stop() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(20 * time.Second):
		a.wake() // so that the test ends
		t.Error("it went on for 20 s")
	}
}

// A run's edge waits for the slow sensors no longer than they take.
func TestAnEdgeGoesOnOnceTheSlowSensorsWereRead(t *testing.T) {
	a, _ := running(t, newMachine(scripted.OnMains), newNotebook())
	shortest := edgeWait
	for range 5 { // a busy machine may hold one up
		began := time.Now()
		if err := a.Declare(t.Context(), run.Watts(15), "test"); err != nil {
			t.Fatal(err)
		}
		shortest = min(shortest, time.Since(began))
	}
	if shortest >= edgeWait {
		t.Errorf("every declaration took %v and longer, the whole patience with slow sensors", shortest)
	}
}

func TestOptions(t *testing.T) {
	good := Options{Device: "unit-oak", Sensors: newMachine(scripted.OnMains), Recorder: newNotebook()}
	for name, c := range map[string]struct {
		change func(*Options)
		says   string
	}{
		"no device":    {func(o *Options) { o.Device = "" }, "device name is empty"},
		"no sensors":   {func(o *Options) { o.Sensors = nil }, "needs sensors and a recorder"},
		"no recorder":  {func(o *Options) { o.Recorder = nil }, "needs sensors and a recorder"},
		"too often":    {func(o *Options) { o.Interval = 99 * time.Millisecond }, "must be from 100ms to 1m0s"},
		"too rarely":   {func(o *Options) { o.Interval = time.Minute + 1 }, "must be from 100ms to 1m0s"},
		"often":        {func(o *Options) { o.Interval = 100 * time.Millisecond }, ""},
		"rarely":       {func(o *Options) { o.Interval = time.Minute }, ""},
		"as it begins": {func(*Options) {}, ""},
	} {
		o := good
		c.change(&o)
		a, err := New(o)
		if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s: error %v, want %q", name, err, c.says)
		}
		if err == nil && o.Interval == 0 && a.opts.Interval != DefaultInterval {
			t.Errorf("%s: interval %v", name, a.opts.Interval)
		}
	}
	a, _ := New(good)
	if err := a.Step(); err == nil {
		t.Error("an agent with a loop was stepped")
	}
	if err := newStepped(t, scripted.OnMains).Run(t.Context()); err == nil {
		t.Error("a stepped agent ran by itself")
	}
}

func TestStoppedAgentInterruptsItsRun(t *testing.T) {
	m, n := newMachine(scripted.OnMains), newNotebook()
	a, stop := running(t, m, n)
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	if got := n.runs[r.ID].State; got != run.Interrupted {
		t.Errorf("state %s, want interrupted", got)
	}
}

func TestACrashLeavesAnInterruptedRun(t *testing.T) {
	n := newNotebook()
	left := run.Record{Run: run.Run{ID: "left", State: run.Recording}}
	n.runs["left"] = left
	n.sweeps["left"] = scripted.Play(9*time.Second, scripted.OnMains).Sweeps
	a, _ := running(t, newMachine(scripted.OnMains), n)
	mustStart(t, a, run.Start{Workload: "tile-sort"}) // the loop goes: the past is judged
	d := n.runs["left"]
	if d.State != run.Interrupted || d.DurationS == nil || *d.DurationS != 9 || d.PackageW == nil {
		t.Errorf("left behind: %+v", d.Run)
	}
	mustStop(t, a, run.Stop{})
}

// Whoever hangs up while a command waits for the loop has it done whole or not at all.
func TestHangingUpIsAllOrNothing(t *testing.T) {
	a, _ := running(t, newMachine(scripted.OnMains), newNotebook())
	until(t, "the first sweep", func() bool {
		var s Snapshot
		a.Snapshot(&s)
		return s.Sweeps > 0
	})
	mustStart(t, a, run.Start{Workload: "tile-sort"})
	busy, free := make(chan struct{}), make(chan struct{})
	release := sync.OnceFunc(func() { close(free) })
	defer release()
	waited := make(chan error, 1)
	go func() { waited <- a.do(context.Background(), func() error { close(busy); <-free; return nil }) }()
	<-busy
	ctx, cancel := context.WithCancel(t.Context())
	hungUp := make(chan error, 1)
	go func() {
		_, err := a.StopRun(ctx, run.Stop{})
		hungUp <- err
	}()
	until(t, "the stop waits for the loop", func() bool { return len(a.mail) == 1 })
	cancel()
	if err := <-hungUp; !errors.Is(err, context.Canceled) {
		t.Errorf("hung up: %v", err)
	}
	release()
	if err := <-waited; err != nil {
		t.Error(err)
	}
	if d := mustStop(t, a, run.Stop{}); d.State != run.Finished {
		t.Errorf("the run did not go on: %+v", d.Run)
	}
}

// A controller that hangs delays neither sweeps nor commands for long.
func TestABlockedSensorDelaysNoSweep(t *testing.T) {
	m, n := newMachine(scripted.OnMains), newNotebook()
	a, _ := running(t, m, n)
	block := make(chan struct{})
	m.mu.Lock()
	m.block = block
	m.mu.Unlock()
	defer close(block)
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	until(t, "20 sweeps on disk while a sensor hangs", func() bool { return n.stored(r.ID) >= 20 })
	mustStop(t, a, run.Stop{})
}
