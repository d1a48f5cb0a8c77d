package main

import (
	"strings"
	"testing"

	"sweepd/console"
	"sweepd/run"
)

// An agent that is started again in the middle of a day knows the device's idle.
func TestAgentStartedAgainKnowsTheIdle(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	a := startAgent(t)
	idle := func() run.Readiness {
		t.Helper()
		client, err := console.NewClient(a.url)
		if err != nil {
			t.Fatal(err)
		}
		r, err := client.Ready(t.Context(), run.Want{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	for range 10 { // each takes an idle sweep
		idle()
	}
	if r := idle(); r.AboveBaseline == nil {
		t.Fatalf("after ten idle sweeps: %+v", r)
	}
	if code := a.stop(); code != exitOK {
		t.Fatalf("the agent ended with %d: %s", code, a.log)
	}
	d.HeatTo(80)
	if err := d.Flush(); err != nil { // the files follow within 20 ms, the agent may be quicker
		t.Fatal(err)
	}
	a = startAgent(t)
	if r := idle(); r.AboveBaseline == nil || *r.AboveBaseline < 20 || len(r.Reasons) == 0 || r.Reasons[0].Code != run.HotStart {
		t.Errorf("hot, and started again: %+v", r)
	}
	must(t, "run", "start", "--workload", "tile-sort")
	if out := must(t, "run", "stop"); !strings.Contains(out, string(run.HotStart)) {
		t.Errorf("the first run after it:\n%s", out)
	}
}
