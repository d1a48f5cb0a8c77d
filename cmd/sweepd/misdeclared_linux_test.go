package main

import (
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// A run whose system reported another setting of the same campaign than was declared
// belongs to neither: it is set aside at once, or as soon as the other setting is run, and
// counts again where a person says so. Another disagreement stays a doubt.
func TestRunAtAnotherSettingOfItsCampaignIsSetAside(t *testing.T) {
	alone(t)
	liveDevice(t) // it reports 15 W
	startAgent(t)
	play := func(setting string) (id, said string) {
		t.Helper()
		must(t, "run", "start", "--workload", "tile-sort", "--setting", setting)
		if setting != "15W" {
			time.Sleep(1600 * time.Millisecond) // reports settle in 1.5 s
		}
		o := sweepd(t, "run", "stop", "--result", "score=3")
		if o.code != exitOK {
			t.Fatalf("%+v", o)
		}
		return asked[run.Run](t, "run show last").ID, words(o.out + o.stderr)
	}
	severity := func(r run.Run) run.Severity {
		for _, f := range r.Findings {
			if f.Code == run.SettingDisagrees {
				return f.Severity
			}
		}
		return ""
	}
	shown := func(id string) run.Run { t.Helper(); return asked[run.Run](t, "run show "+id) }

	first, _ := play("20W")
	if r := shown(first); r.State != run.Finished || severity(r) != run.SeverityDoubt {
		t.Fatalf("nobody ran 15 W so far: %s, %+v", r.State, r.Findings)
	}
	right, _ := play("15W")
	if r := shown(right); r.State != run.Finished || r.HasFinding(run.SettingDisagrees) {
		t.Fatalf("declared as read: %s, %+v", r.State, r.Findings)
	}
	eventually(t, "the first run is set aside", func() bool { return shown(first).State == run.Rejected })
	if r := shown(first); r.State != run.Rejected || severity(r) != run.SeverityReject || !strings.Contains(r.Why, "setting_disagrees: 20W was declared, but the system reports 15W (firmware), another setting of the same campaign") {
		t.Errorf("15 W was run: %s, %q, %+v", r.State, r.Why, r.Findings)
	}

	second, said := play("25W")
	if r := shown(second); r.State != run.Rejected || !strings.Contains(said, "setting_disagrees") || !strings.Contains(said, "another setting of the same campaign") {
		t.Errorf("%s, said %q", r.State, said)
	}
	must(t, "run", "keep", second, "--why", "the firmware reports it late")
	if r := shown(second); r.State != run.Finished {
		t.Errorf("kept: %s", r.State)
	}
	play("15W")
	must(t, "run", "result", second, "score=4")
	if r := shown(second); r.State != run.Finished {
		t.Errorf("kept, and another run since: %s", r.State)
	}

	// Corrected to what was read it is right, and counts.
	must(t, "run", "correct", first, "--set-setting", "15W")
	if r := shown(first); r.State != run.Finished || r.HasFinding(run.SettingDisagrees) {
		t.Errorf("corrected: %s, %+v", r.State, r.Findings)
	}
}
