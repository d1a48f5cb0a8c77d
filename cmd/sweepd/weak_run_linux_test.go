package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/analysis"
	"sweepd/internal/simdevice"
	"sweepd/run"
)

// TestRunsThatSayNothingDoNotCount starts and stops a run at once, as a slip does: its
// battery power is gone from every command, which says why, and its result stays.
func TestRunsThatSayNothingDoNotCount(t *testing.T) {
	data := alone(t)
	d := liveDevice(t)
	d.Unplug()
	d.StartWorkload(simdevice.Workload{Name: "harbour-flight"})
	a := startAgent(t)
	must(t, "run", "start", "--workload", "harbour-flight", "--setting", "25W")
	must(t, "run", "stop", "--result", "fps_mean=61.3fps")
	a.stop()

	var runs []run.Run
	if err := json.Unmarshal([]byte(must(t, "run", "list", "--json")), &runs); err != nil || len(runs) != 1 {
		t.Fatalf("%v, %+v", err, runs)
	}
	r := runs[0]
	if r.Supply != run.Battery || !r.HasFinding(run.TooShort) || r.SystemW != nil {
		t.Fatalf("run list: %+v", r)
	}
	if out := must(t, "run", "show", "last"); !strings.Contains(out, "its power does not count: too short") || strings.Contains(out, "whole device") {
		t.Errorf("run show:\n%s", out) // what the battery tells for a moment is from before the run
	}
	if out := must(t, "curve"); strings.Contains(out, "is enough") {
		t.Errorf("one setting is called enough:\n%s", out)
	}
	out := must(t, "battery", "--full-energy", "48Wh")
	if !strings.Contains(out, "left out: run "+run.ShortID(r.ID)+", too short, ") || strings.Contains(out, "runtime h") {
		t.Errorf("battery:\n%s", out)
	}
	var b analysis.BatteryResult
	if err := json.Unmarshal([]byte(must(t, "battery", "--json")), &b); err != nil || len(b.Groups) != 0 ||
		len(b.LeftOut) != 1 || b.LeftOut[0].Run != r.ID || !strings.HasPrefix(b.LeftOut[0].Reason, "too short, ") {
		t.Errorf("battery --json: %+v, %v", b, err)
	}
	curve := asked[analysis.CurveResult](t, "curve")
	if p := curve.Groups[0].Points[0]; p.SystemW.Known() || p.Mean != 61.3 {
		t.Errorf("curve: %+v", p)
	}

	// A table carries no watts that the run does not have, wherever it is read.
	csv := filepath.Join(data, "day.csv")
	must(t, "export", "--as", "csv", "--out", csv)
	elsewhere := t.TempDir()
	must(t, "import", csv, "--data", elsewhere)
	if out := sweepd(t, "battery", "--data", elsewhere); strings.Contains(out.out, "runtime h") {
		t.Errorf("battery elsewhere:\n%s", out.out)
	}
	if text, err := os.ReadFile(csv); err != nil || !strings.Contains(string(text), ",battery,25,") {
		t.Errorf("%s, %v", text, err)
	}

	// What a table states itself counts as given, however short the run.
	given := filepath.Join(data, "given.csv")
	if err := os.WriteFile(given, []byte("device,workload,supply,setting_w,duration_s,system_w,fps_mean\nunit-elm,harbour-flight,battery,25,1,30,60\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "import", given)
	b = asked[analysis.BatteryResult](t, "battery --device unit-elm")
	if len(b.Groups) != 1 || math.Abs(float64(b.Groups[0].Points[0].SystemW)-30) > 1e-9 || len(b.LeftOut) != 0 {
		t.Errorf("battery of a table: %+v", b)
	}
	must(t, "report", "--out", filepath.Join(data, "report"))
	page, err := os.ReadFile(filepath.Join(data, "report", "report.html"))
	if err != nil || !strings.Contains(string(page), "left out: run "+run.ShortID(r.ID)) {
		t.Errorf("the report does not name the run, %v", err)
	}
}

// A battery at rest is said to be at rest, and nothing that cannot be told from zero is given
// in four decimals.
func TestBatteryAtRest(t *testing.T) {
	u := 0.0069
	for want, c := range map[string]struct {
		supply run.Supply
		watts  float64
	}{
		"battery at rest within ± 0.0069 W (95 %)": {run.Mains, 0.001}, "battery -1.2000 ± 0.0069 W (95 %)": {run.Mains, -1.2},
		"whole device 0.0010 ± 0.0069 W (95 %)": {run.Battery, 0.001},
	} {
		if got := dischargeText(c.supply, c.watts, &u); got != want {
			t.Errorf("%s: %q, want %q", c.supply, got, want)
		}
	}
}
