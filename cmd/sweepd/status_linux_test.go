package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"sweepd/testday"
)

// One screen tells how the day stands: without an agent, with one, in a run, with a plan.
func TestStatus(t *testing.T) {
	data := alone(t)
	flat := func() string { return strings.Join(strings.Fields(must(t, "status")), " ") }
	for _, want := range []string{"no agent answers at http://127.0.0.1:1", "asked: the data in " + data + " (SWEEPD_DATA)", "no run in the last 24 hours"} {
		if out := flat(); !strings.Contains(out, want) {
			t.Errorf("without an agent it lacks %q: %s", want, out)
		}
	}
	liveDevice(t)
	a := startAgent(t)
	device, _, err := deviceName(t.Context(), config{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	must(t, "setting", "18W")
	must(t, "plan", "new", "--workload", "tile-sort", "--settings", "8-12/4", "--supply", "battery")
	must(t, "run", "start", "--workload", "harbour-flight")
	eventually(t, "the clock of the run goes on", func() bool {
		o := asked[testday.Overview](t, "status")
		return o.ElapsedS != nil && *o.ElapsedS > 0.3
	})
	for _, want := range []string{"device: " + device + ", watched by the agent at " + a.url, "setting: 18W (declared just now by sweepd setting); the system reports 15W (firmware)", "recording: ", "battery at ", "package ", "hottest ", "next: 1. " + device + ", tile-sort,"} {
		if out := flat(); !strings.Contains(out, want) {
			t.Errorf("in a run it lacks %q: %s", want, out)
		}
	}
	must(t, "run", "stop")
	if out := flat(); !strings.Contains(out, "no run is recording 1 run in the last 24 hours") && !strings.Contains(out, "What needs a look: doubt") {
		t.Errorf("after the run: %s", out)
	}
	o := asked[testday.Overview](t, "status")
	if o.Agent == nil || o.Agent.Recording != nil || o.Runs != 1 || len(o.Doubts) == 0 || o.Next == nil || o.PackageWatts == nil || len(o.Temperatures) == 0 || o.DataFrom != "SWEEPD_DATA" {
		t.Errorf("%+v", o)
	}
}

// It is drawn again until it is told to end.
func TestStatusFollows(t *testing.T) {
	alone(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out lockedBuffer
	ended := make(chan int, 1)
	began := time.Now()
	go func() { ended <- Run(ctx, []string{"status", "--follow"}, strings.NewReader(""), &out, &out) }()
	eventually(t, "it is drawn again", func() bool { return strings.Count(out.String(), "asked: ") >= 2 })
	n := strings.Count(out.String(), "asked: ")
	if took := time.Since(began); n > 1+int(took/redrawEvery) {
		t.Errorf("drawn %d times in %v", n, took)
	}
	cancel()
	if code := <-ended; code != exitOK || strings.Contains(out.String(), "\x1b") {
		t.Errorf("exit %d: %s", code, out.String())
	}
}
