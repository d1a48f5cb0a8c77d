package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// TestAGoodRunWhoseAgentDiedIsKept ends the agent in the middle of a run that was good: the
// person keeps it, gives its result, and everything counts it.
func TestAGoodRunWhoseAgentDiedIsKept(t *testing.T) {
	data := alone(t)
	d := liveDevice(t)
	d.StartWorkload(simdevice.Workload{Name: "harbour-flight"})
	a := startAgent(t)
	must(t, "plan", "new", "--settings", "25", "--workload", "harbour-flight", "--supply", "battery", "--repeats", "1")
	must(t, "run", "start", "--workload", "harbour-flight", "--setting", "25W")
	eventually(t, "its watts are known", func() bool {
		k := asked[testday.KeptRun](t, "run show last")
		return k.SoFar != nil && k.SoFar.Seconds > 1 && k.PackageW != nil
	})
	a.stop()

	list := func() run.Run {
		t.Helper()
		runs := asked[[]run.Run](t, "run list")
		if len(runs) != 1 {
			t.Fatalf("%d runs", len(runs))
		}
		return runs[0]
	}
	r := list()
	if r.State != run.Interrupted || r.Seconds() <= 0 {
		t.Fatalf("%s after %v s", r.State, r.Seconds())
	}
	if out := must(t, "plan", "status"); !strings.Contains(out, "sweepd run keep "+run.ShortID(r.ID)) {
		t.Errorf("plan status does not say what to do:\n%s", out)
	}
	for args, says := range map[string]string{
		"run keep last":                "why",
		"run keep last --why x --undo": "undo",
		"run keep last --why=":         "reason is empty",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitUsage || !strings.Contains(o.stderr, says) {
			t.Errorf("%s: exit %d, %s", args, o.code, o.stderr)
		}
	}
	if o := sweepd(t, "run", "keep", "last", "--undo"); o.code != exitFailed || !strings.Contains(o.stderr, "nothing to undo") {
		t.Errorf("undo before: exit %d, %s", o.code, o.stderr)
	}

	if out := must(t, "run", "keep", "last", "--why", "the workload had ended"); !strings.Contains(out, "finished, kept") {
		t.Errorf("run keep says %q", out)
	}
	if o := sweepd(t, "run", "keep", "last", "--why", "again"); o.code != exitFailed || !strings.Contains(o.stderr, "nothing to keep") {
		t.Errorf("keep twice: exit %d, %s", o.code, o.stderr)
	}
	must(t, "run", "result", "last", "fps_mean=61.3fps")
	kept := list()
	if kept.State != run.Finished || !kept.HasFinding(run.KeptInterrupted) || kept.HasFinding(run.ResultMissing) ||
		kept.Seconds() != r.Seconds() || kept.PackageW == nil || *kept.PackageW != *r.PackageW {
		t.Errorf("kept: %+v", kept)
	}
	if out := must(t, "run", "list"); !strings.Contains(out, "finished, kept") {
		t.Errorf("run list:\n%s", out)
	}
	if out := must(t, "run", "show", "last"); !strings.Contains(out, "why: the workload had ended") || !strings.Contains(out, "kept by hand: the workload had ended") {
		t.Errorf("run show:\n%s", out)
	}
	if out := must(t, "plan", "status"); !strings.Contains(out, "1 done, 0 left") {
		t.Errorf("plan status:\n%s", out)
	}
	if out := must(t, "curve"); !strings.Contains(out, "1 run was interrupted and kept by hand") {
		t.Errorf("curve:\n%s", out)
	}

	// It goes elsewhere as it is, by table and by merge.
	csv := filepath.Join(data, "day.csv")
	must(t, "export", "--as", "csv", "--out", csv)
	for _, args := range [][]string{{"import", csv}, {"merge", data}} {
		elsewhere := t.TempDir()
		must(t, append(args, "--data", elsewhere)...)
		var there []run.Run
		if err := json.Unmarshal([]byte(must(t, "run", "list", "--json", "--data", elsewhere)), &there); err != nil || len(there) != 1 ||
			there[0].State != run.Finished || there[0].Why != kept.Why || !there[0].HasFinding(run.KeptInterrupted) {
			t.Errorf("after %s: %+v, %v", args[0], there, err)
		}
		must(t, "check", "--data", elsewhere)
	}

	if out := must(t, "run", "keep", "last", "--undo"); !strings.Contains(out, "interrupted") {
		t.Errorf("undo says %q", out)
	}
	if r := list(); r.State != run.Interrupted || r.HasFinding(run.KeptInterrupted) || r.Why != "" || len(r.Results) != 1 {
		t.Errorf("taken back: %+v", r)
	}
	if out := strings.Join(strings.Fields(must(t, "run", "show", "last")), " "); !strings.Contains(out, "kept by hand: the workload had ended") || !strings.Contains(out, "keeping taken back by hand") {
		t.Errorf("history:\n%s", out)
	}
	must(t, "check")
}

// TestARunWithoutASweepCannotBeKept keeps a run that an agent began and never swept.
func TestARunWithoutASweepCannotBeKept(t *testing.T) {
	data := alone(t)
	s, err := sqlite.Open(data, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	began := run.Record{Run: run.Run{ID: "0198c3f0-0000-7000-8000-000000000001", State: run.Recording, StartedAt: run.Stamp(time.Now()),
		Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight"}, Results: map[string]run.Result{}, Findings: []run.Finding{}}}
	if err := s.BeginRun(t.Context(), began); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	liveDevice(t)
	if err := os.WriteFile(filepath.Join(data, "sweepd.yaml"), []byte("device: unit-oak\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	a := startAgent(t, "--config", filepath.Join(data, "sweepd.yaml"))
	eventually(t, "the run is interrupted", func() bool { return strings.Contains(must(t, "run", "list"), "interrupted") })
	a.stop()
	o := sweepd(t, "run", "keep", "last", "--why", "it was good")
	if o.code != exitFailed || !strings.Contains(o.stderr, "no sweep of it was stored") || !strings.Contains(o.stderr, "run it again") {
		t.Errorf("exit %d, %s", o.code, o.stderr)
	}
}
