package agent

import (
	"maps"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// withFacts is a running agent whose facts are what read gives.
func withFacts(t *testing.T, n *notebook, read func() map[string]string) *Agent {
	t.Helper()
	a, _ := running(t, newMachine(scripted.OnMains), n)
	a.opts.Facts = read // before any run starts
	return a
}

func typed() run.Typed { return run.Typed{run.RoomTemperature: "23", run.WorkloadVersion: ""} }

// Facts that come at once are with the run from its start, and what was typed with them.
func TestFactsAreThereAtTheStart(t *testing.T) {
	n := newNotebook()
	a := withFacts(t, n, func() map[string]string { return map[string]string{"os": "sim", run.RoomTemperature: "20"} })
	r := mustStart(t, a, run.Start{Workload: "tile-sort", Typed: typed()})
	want := map[string]string{"os": "sim", run.RoomTemperature: "23"}
	if got := n.copied().runs[r.ID].Facts; !maps.Equal(got, want) {
		t.Errorf("stored at the start: %v", got)
	}
	if d := mustStop(t, a, run.Stop{}); !maps.Equal(d.Facts, want) {
		t.Errorf("at the end: %v", d.Facts)
	}
}

// A machine that takes its time does not hold a run up, and its facts are with the run in
// the end. The next run does not get them.
func TestLateFacts(t *testing.T) {
	n := newNotebook()
	answer := make(chan map[string]string)
	a := withFacts(t, n, func() map[string]string { return <-answer })
	began := time.Now()
	r := mustStart(t, a, run.Start{Workload: "tile-sort", Typed: typed()})
	if took := time.Since(began); took > 10*edgeWait {
		t.Errorf("the start took %v", took)
	}
	if got, want := n.copied().runs[r.ID].Facts, (map[string]string{run.RoomTemperature: "23"}); !maps.Equal(got, want) {
		t.Errorf("stored at the start: %v", got)
	}
	until(t, "sweeps while the facts are read", func() bool { return n.stored(r.ID) >= 3 })
	answer <- map[string]string{"os": "sim"}
	// The loop has taken the facts once it has read the mail behind them.
	until(t, "the facts", func() (there bool) {
		_ = a.do(t.Context(), func() error { there = a.run.record.Facts["os"] == "sim"; return nil })
		return there
	})
	if d := mustStop(t, a, run.Stop{}); d.Facts["os"] != "sim" || d.Facts[run.RoomTemperature] != "23" || n.copied().runs[r.ID].Facts["os"] != "sim" {
		t.Errorf("at the end: %v", d.Facts)
	}

	mustStart(t, a, run.Start{Workload: "tile-sort"}) // too short for its facts
	mustStop(t, a, run.Stop{})
	second := mustStart(t, a, run.Start{Workload: "tile-sort"})
	answer <- map[string]string{"os": "of the run before"}
	answer <- map[string]string{"os": "its own"}
	until(t, "the facts", func() (there bool) {
		_ = a.do(t.Context(), func() error { there = a.run.record.Facts["os"] != ""; return nil })
		return there
	})
	if d := mustStop(t, a, run.Stop{}); d.ID != second.ID || d.Facts["os"] != "its own" {
		t.Errorf("the run after: %v", d.Facts)
	}
}
