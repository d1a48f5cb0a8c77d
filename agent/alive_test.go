package agent

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

func TestAliveAsksTheLoop(t *testing.T) {
	a, stop := running(t, newMachine(scripted.OnMains), newNotebook())
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := a.Alive(ctx); err != nil {
		t.Errorf("a loop that goes: %v", err)
	}
	mustStart(t, a, run.Start{Workload: "tile-sort"})
	if err := a.Alive(ctx); err != nil {
		t.Errorf("in a run: %v", err)
	}
	// A loop that hangs in something does not answer.
	hang, hanging := make(chan struct{}), make(chan struct{})
	a.mail <- func() { close(hanging); <-hang }
	a.wake()
	<-hanging
	short, giveUp := context.WithTimeout(ctx, 10*time.Millisecond)
	defer giveUp()
	if err := a.Alive(short); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a loop that hangs: %v", err)
	}
	close(hang)
	if err := stop(); err != nil {
		t.Error(err)
	}
}

func TestAliveMissesTheSweepsOfARun(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.m.advance(9 * time.Second)
	if err := s.Alive(context.Background()); err != nil {
		t.Errorf("9 s after the last sweep: %v", err)
	}
	s.m.advance(2 * time.Second)
	if err := s.Alive(context.Background()); err == nil || !strings.Contains(err.Error(), "11s ago") {
		t.Errorf("11 s after the last sweep: %v", err)
	}
	mustStop(t, s.Agent, run.Stop{})
	s.m.advance(time.Hour)
	if err := s.Alive(context.Background()); err != nil {
		t.Errorf("an hour after the run: %v", err)
	}
}
