package agent

import (
	"errors"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// A device that is renamed is recorded by its other name from then on, but for the run in
// progress, which keeps the agent from it.
func TestRename(t *testing.T) {
	a := newStepped(t, func(time.Duration) scripted.State { return scripted.State{} })
	a.pass(t, time.Second)
	if renamed, err := a.Rename(t.Context(), "unit-elm", "unit-ash"); renamed || err != nil {
		t.Errorf("another device: %v, %v", renamed, err)
	}
	if _, err := a.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); err != nil {
		t.Fatal(err)
	}
	if _, err := a.Rename(t.Context(), "unit-oak", "unit-elm"); !errors.Is(err, run.ErrRecording) {
		t.Errorf("while recording: %v", err)
	}
	d, err := a.StopRun(t.Context(), run.Stop{})
	if err != nil || d.Device != "unit-oak" {
		t.Fatalf("%s, %v", d.Device, err)
	}
	if renamed, err := a.Rename(t.Context(), "unit-oak", "unit-elm"); !renamed || err != nil {
		t.Fatalf("%v, %v", renamed, err)
	}
	if live := a.Live(); live.Current.Device != "unit-elm" {
		t.Errorf("it is watched as %s", live.Current.Device)
	}
	if d, err := a.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); err != nil || d.Device != "unit-elm" {
		t.Errorf("recorded as %s, %v", d.Device, err)
	}
}
