package main

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/console"
	"sweepd/run"
)

// idleFor takes idle sweeps until the device's own idle is known.
func idleFor(t *testing.T, a *liveAgent) *console.Client {
	t.Helper()
	client, err := console.NewClient(a.url)
	if err != nil {
		t.Fatal(err)
	}
	for range 8 {
		if _, err := client.Ready(t.Context(), run.Want{}); err != nil {
			t.Fatal(err)
		}
	}
	return client
}

// The three outcomes of a start: fit, started all the same with its finding, and, with
// --wait, not started.
func TestStartOutcomes(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	client := idleFor(t, startAgent(t))
	start := func(args ...string) (said string) {
		t.Helper()
		o := sweepd(t, append([]string{"run", "start", "--workload", "tile-sort"}, args...)...)
		if o.code != exitOK || !strings.HasPrefix(o.out, "run ") {
			t.Fatalf("%+v", o)
		}
		must(t, "run", "stop", "--result", "score=3")
		return words(o.stderr)
	}
	if out := start(); !strings.HasPrefix(out, "fit to start: ") {
		t.Errorf("fit: %s", out)
	}
	must(t, "run", "start", "--workload", "tile-sort")
	for _, args := range []string{"run start --workload tile-sort", "run start --workload tile-sort --wait", "run watch --workload tile-sort -- true"} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitFailed || !strings.Contains(o.stderr, "stop it first") || strings.Contains(o.stderr, "fit to start") {
			t.Errorf("%s while another run is recording: %+v", args, o)
		}
	}
	must(t, "run", "stop", "--result", "score=3")
	d.HeatTo(80)
	if err := d.Flush(); err != nil {
		t.Fatal(err)
	}
	if out := start(); !strings.Contains(out, "started all the same: ") || !strings.Contains(out, "K above its idle baseline (allowed: 10), finding hot_start") || strings.Contains(out, "not fit") {
		t.Errorf("hot: %s", out)
	}
	r, err := client.Ready(t.Context(), run.Want{})
	if err != nil || r.Fit || r.Target == nil || len(r.Reasons) == 0 || r.Reasons[0].Target == nil || r.Reasons[0].ByHand {
		t.Errorf("hot: %+v, %v", r, err)
	}

	// Ctrl-C while it waits.
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out, errs lockedBuffer
	go func() {
		defer cancel()
		for until := time.Now().Add(10 * time.Second); !strings.Contains(errs.String(), "waiting: ") && time.Now().Before(until); {
			time.Sleep(5 * time.Millisecond)
		}
	}()
	code := Run(ctx, []string{"run", "start", "--workload", "tile-sort", "--wait"}, strings.NewReader(""), &out, &errs)
	said := errs.String()
	if code != exitFailed || out.String() != "" || !strings.HasPrefix(said, "waiting: ") || !strings.HasSuffix(said, "sweepd: not started\n") || strings.Contains(said, "context") || !strings.Contains(said, "target ") {
		t.Errorf("Ctrl-C: exit %d, %s%s", code, out.String(), said)
	}
	if n := len(asked[[]run.Run](t, "run list")); n != 3 {
		t.Errorf("%d runs, want the 3 that were started", n)
	}
}

// What needs a hand is said as such. Where nobody reads it, it is not waited for for ever.
func TestStartWaitsForAHand(t *testing.T) {
	if testing.Short() {
		t.Skip("it waits ten seconds")
	}
	alone(t)
	d := liveDevice(t)
	d.SetLimit(15)
	idleFor(t, startAgent(t))
	o := sweepd(t, "run", "start", "--workload", "tile-sort", "--setting", "25W", "--wait")
	if o.code != exitFailed || !strings.Contains(words(o.stderr), "waiting for you: the run wants 25W, but the system reports 15W") || !strings.Contains(o.stderr, "sweepd: not started, and waiting does not help: ") {
		t.Errorf("the wrong setting: %+v", o)
	}
	if out := must(t, "setting"); !strings.HasPrefix(out, "15W (firmware)") {
		t.Errorf("nothing was started, and declared: %s", out)
	}
	ended := make(chan outcome, 1)
	go func() { ended <- sweepd(t, "run", "start", "--workload", "tile-sort", "--setting", "25W", "--wait") }()
	time.Sleep(time.Second)
	d.SetLimit(25)
	if o := <-ended; o.code != exitOK || !strings.Contains(o.stderr, "fit to start: ") || !strings.Contains(o.out, "setting 25W (declared), on ") {
		t.Errorf("set meanwhile: %+v", o)
	}
}

// A workload that is open and idles in its menu is how a run begins there: it is doubted
// once, and no more. What comes on top of it is still found.
func TestOpenWorkloadIsNotBusy(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	client := idleFor(t, startAgent(t))
	load := func(share float64) {
		t.Helper()
		d.BackgroundLoad(share)
		eventually(t, "the agent sees the load", func() bool {
			_, err := client.Ready(t.Context(), run.Want{})
			rows, err2 := client.Sensors(t.Context())
			for _, row := range rows {
				if row.Sensor == run.CPUBusy && row.Value != nil && *row.Value > share-0.02 && *row.Value < share+0.05 {
					return err == nil && err2 == nil
				}
			}
			return false
		})
	}
	busy := func(workload string) bool {
		t.Helper()
		o := sweepd(t, "run", "start", "--workload", workload)
		must(t, "run", "stop", "--result", "score=3")
		return strings.Contains(o.stderr, "finding busy_start")
	}
	load(0.45)
	if !busy("harbour-flight") {
		t.Error("nothing tells that this is usual at its first start")
	}
	for range 3 {
		if busy("harbour-flight") {
			t.Error("its menu makes every start busy")
		}
	}
	if !busy("tile-sort") {
		t.Error("it is not usual for another workload")
	}
	load(0.75)
	if !busy("harbour-flight") {
		t.Error("what runs beside the menu is not found")
	}
	if r, err := client.Ready(t.Context(), run.Want{Workload: "harbour-flight"}); err != nil || r.Fit || !slices.ContainsFunc(r.Reasons, func(x run.Reason) bool { return strings.Contains(x.Text, "is usual at its starts") }) { // it may be hot, too
		t.Errorf("ready: %+v, %v", r, err)
	}
}
