package agent

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// A command that hangs delays no sensor, neither quick nor slow, and the end of the
// agent ends it.
func TestACommandThatHangsDelaysNothing(t *testing.T) {
	m, n := newMachine(scripted.OnMains), newNotebook()
	a, err := New(Options{Device: "unit-oak", Sensors: m, Recorder: n, Interval: MinInterval,
		ReadSetting: func(ctx context.Context) (run.Setting, error) {
			<-ctx.Done()
			return run.Setting{}, ctx.Err()
		}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	slowReads := func() int { m.mu.Lock(); defer m.mu.Unlock(); return m.slow }
	before := slowReads()
	until(t, "20 sweeps and 2 slow reads while the command hangs", func() bool { return n.stored(r.ID) >= 20 && slowReads() >= before+2 })
	mustStop(t, a, run.Stop{})
	cancel()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatal("the agent did not end")
	}
}

// What is wrong with the command is said at once, and again only when it is
// something else.
func TestFailuresOfTheCommand(t *testing.T) {
	core, logs := observer.New(zap.InfoLevel)
	s := newStepped(t, scripted.OnMains)
	s.log = zap.New(core)
	answers := []error{errors.New("no such file"), errors.New("no such file"), errors.New("timed out"), nil, nil, errors.New("timed out")}
	var asked atomic.Int64
	s.opts.ReadSetting = func(context.Context) (run.Setting, error) {
		err := answers[asked.Add(1)-1]
		if err != nil {
			return run.Setting{}, err
		}
		return run.Watts(22), nil
	}
	for i, want := range []struct {
		logged  int
		failure string
	}{{1, "no such file"}, {1, "no such file"}, {2, "timed out"}, {3, ""}, {3, ""}, {4, "timed out"}} {
		if err := s.SweepIdle(t.Context()); err != nil {
			t.Fatal(err)
		}
		live := s.Live()
		if logs.Len() != want.logged || live.SettingCommandFailure != want.failure || (live.Current.Setting.String() == "22W") != (want.failure == "") {
			t.Errorf("answer %d: %d lines, failure %q, setting %v; want %+v", i+1, logs.Len(), live.SettingCommandFailure, live.Current.Setting, want)
		}
	}
}
