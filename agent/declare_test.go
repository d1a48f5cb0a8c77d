package agent

import (
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// Before the first sweep the setting that was declared is known, and nothing else.
func TestDeclaredBeforeTheFirstSweep(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	opts := s.opts
	opts.Declared = run.Declaration{Setting: run.Watts(15), At: run.Stamp(time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)), By: "sweepd setting"}
	opts.MachineStarted = opts.Declared.At.Add(time.Hour)
	a, err := New(opts)
	if err != nil {
		t.Fatal(err)
	}
	live := a.Live()
	if live.Sweeps != 0 || live.Current != (run.Labels{Device: "unit-oak", Setting: run.Watts(15).From(run.Declared)}) {
		t.Errorf("after %d sweeps it is %+v", live.Sweeps, live.Current)
	}
	if d := live.Declared; d == nil || d.By != "sweepd setting" || !d.Restarted {
		t.Errorf("declared: %+v", d)
	}
}
