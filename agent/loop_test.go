package agent

import (
	"context"
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
