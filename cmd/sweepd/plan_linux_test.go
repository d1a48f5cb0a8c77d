package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/internal/simdevice"
)

// nextOf is what `plan next` says.
type nextOf struct {
	Next *struct {
		Position         int
		Workload, Supply string
		Setting          struct{ Watts float64 }
		Variant          map[string]string
	}
	Changes []string
	Left    int
}

func planNext(t *testing.T) (n nextOf) {
	t.Helper()
	if err := json.Unmarshal([]byte(must(t, "plan", "next", "--json")), &n); err != nil {
		t.Fatal(err)
	}
	return n
}

// A small test day by its plan alone: the hand does what `plan next` says, runs
// take their labels from it, a rejected run comes again.
func TestPlannedDay(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	d.StartWorkload(simdevice.Workload{Name: "tile-sort"})
	startAgent(t)
	device, _, err := deviceName(t.Context(), config{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var runs []struct{ ID, State string }
	must(t, "plan", "new", "--device", device, "--workload", "tile-sort", "--settings", "12-16/4", "--repeats", "1", "--variant", "fan=quiet", "--seed", "3")
	for n := range 5 { // four cells, one of them twice
		next := planNext(t)
		if next.Next == nil {
			t.Fatalf("nothing is next after %d runs", n)
		}
		for _, change := range next.Changes {
			switch {
			case change == "unplug":
				d.Unplug()
			case change == "plug in":
				d.Plug()
			}
		}
		d.SetLimit(next.Next.Setting.Watts)
		eventually(t, "the agent sees the supply", func() bool {
			now := planNext(t)
			return !strings.Contains(strings.Join(now.Changes, " "), "plug")
		})
		o := sweepd(t, "run", "start")
		if o.code != exitOK || !strings.Contains(o.stderr, "fit to start") && !strings.Contains(o.stderr, "started all the same") {
			t.Fatalf("run start: %+v", o)
		}
		if again := sweepd(t, "run", "start"); again.code != exitFailed || !strings.Contains(again.stderr, "stop it first") {
			t.Fatalf("a second start: %+v", again)
		}
		if out := must(t, "plan", "next"); !strings.Contains(out, "is recording") {
			t.Errorf("plan next while recording: %s", out)
		}
		must(t, "run", "stop", "--result", "score=10")
		if n == 0 {
			must(t, "run", "reject", "last", "--why", "planted")
			if out := must(t, "plan", "status"); !strings.Contains(out, "1 to be repeated") || !strings.Contains(out, "rejected: planted") {
				t.Errorf("plan status:\n%s", out)
			}
		}
	}
	if n := planNext(t); n.Next != nil || n.Left != 0 {
		t.Errorf("after all: %+v", n)
	}
	if out := must(t, "plan", "status"); !strings.Contains(out, "4 done, 0 left, 1 run rejected") {
		t.Errorf("plan status:\n%s", out)
	}
	if o := sweepd(t, "run", "start"); o.code != exitFailed || !strings.Contains(o.stderr, "nothing left") {
		t.Errorf("no cell is left: %+v", o)
	}
	if err := json.Unmarshal([]byte(must(t, "run", "list", "--json", "--variant", "fan=quiet")), &runs); err != nil || len(runs) != 5 {
		t.Errorf("%d runs with the plan's variant", len(runs))
	}
	must(t, "plan", "extend", "--repeats", "1")
	if n := planNext(t); n.Left != 4 {
		t.Errorf("extended: %+v", n)
	}
}

// Frame times become results; a file that covers too little, or more than the run,
// is told, and a slip in the command line ends the run without them.
func TestRunStopWithFrames(t *testing.T) {
	alone(t)
	liveDevice(t)
	startAgent(t)
	file := filepath.Join(t.TempDir(), "frames.csv")
	text := "frame;frame_ms\n"
	for i := range 200 { // by hand: 190 of 10 ms and 10 of 40 ms are 2.3 s
		ms := "10"
		if i%20 == 7 {
			ms = "40,0"
		}
		text += fmt.Sprintf("%d;%s\n", i, ms)
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "run", "start", "--workload", "harbour-flight")
	if o := sweepd(t, "run", "stop", "--frames", file, "--frame-column", "ms"); o.code != exitFailed || !strings.Contains(o.stderr, "--frames FILE`: ") || !strings.Contains(o.stderr, "frame, frame_ms") {
		t.Fatalf("%+v", o)
	}
	must(t, "run", "start", "--workload", "harbour-flight")
	type shown struct {
		DurationS float64 `json:"duration_s"`
		Results   map[string]struct {
			Value        float64
			Unit, Better string
		}
		Findings []struct{ Code, Text string }
	}
	var d shown
	if err := json.Unmarshal([]byte(must(t, "run", "stop", "--frames", file, "--frame-column", "frame_ms", "--json")), &d); err != nil {
		t.Fatal(err)
	}
	has := func(code string) bool {
		for _, f := range d.Findings {
			if f.Code == code {
				return true
			}
		}
		return false
	}
	for name, want := range map[string]float64{"fps_mean": 200 / 2.3, "fps_median": 100, "fps_slowest_1pct_mean": 25, "frame_ms_p99": 40, "slow_frames_over_33.333ms": 0.05} {
		if got := d.Results[name].Value; got < want*(1-1e-9) || got > want*(1+1e-9) {
			t.Errorf("%s = %v, want %v", name, got, want)
		}
	}
	if d.Results["frame_ms_p99"].Better != "lower" || has("result_missing") {
		t.Errorf("%+v", d)
	}
	if want := 2.3 < 0.9*d.DurationS || 2.3 > max(1.1*d.DurationS, d.DurationS+1); has("frames_short") != want {
		t.Errorf("a run of %.2f s with 2.3 s of frames: %+v", d.DurationS, d.Findings)
	}
	// A file of 50 ms covers too little; the right one in its place does not.
	short := filepath.Join(t.TempDir(), "short.csv")
	if err := os.WriteFile(short, []byte("frame_ms\n25\n25\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "run", "result", "last", "--frames", short)
	if err := json.Unmarshal([]byte(must(t, "run", "show", "last", "--json")), &d); err != nil || has("frames_short") != (0.05 < 0.9*d.DurationS) {
		t.Errorf("%v %+v", err, d)
	}
	if err := os.WriteFile(short, []byte("frame_ms\n25\nx\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "run", "start", "--workload", "harbour-flight")
	if o := sweepd(t, "run", "stop", "--frames", short); o.code != exitFailed || !strings.Contains(o.stderr, "line 3, column frame_ms: \"x\"") || !strings.Contains(o.stderr, " ended at ") {
		t.Errorf("%+v", o)
	}
}
