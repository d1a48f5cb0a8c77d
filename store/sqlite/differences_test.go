package sqlite

import (
	"slices"
	"testing"
	"time"

	"sweepd/run"
)

// Each thing in which two tellings of a run can differ is told, by its name, with both
// values; nothing else is.
func TestDifferences(t *testing.T) {
	told := func() *run.Record {
		r := finished("run-0001", 0)
		r.Results["load"] = run.Result{Value: 3.5, Unit: "s", Better: run.Lower}
		return &r
	}
	if d := differences(told(), told()); len(d) != 0 {
		t.Errorf("one and the same differ: %v", d)
	}
	for want, change := range map[string]func(*run.Record){
		`device: "unit-oak" here, "unit-elm" there`:                                     func(r *run.Record) { r.Device = "unit-elm" },
		`workload: "harbour-flight" here, "tile-sort" there`:                            func(r *run.Record) { r.Workload = "tile-sort" },
		`variant: "cores=6" here, "" there`:                                             func(r *run.Record) { r.Variant = "" },
		`supply: "mains" here, "battery" there`:                                         func(r *run.Record) { r.Supply = run.Battery },
		`setting: "25W" here, "quiet" there`:                                            func(r *run.Record) { r.Setting.Setting = run.Named("quiet") },
		`state: "finished" here, "interrupted" there`:                                   func(r *run.Record) { r.State = run.Interrupted },
		`why: "" here, "hot" there`:                                                     func(r *run.Record) { r.Why = "hot" },
		`note: "" here, "first" there`:                                                  func(r *run.Record) { r.Note = "first" },
		`started_at: "2026-05-01T12:00:00.000Z" here, "2026-05-01T12:01:00.000Z" there`: func(r *run.Record) { r.StartedAt = run.Stamp(noon.Add(time.Minute)) },
		`duration_s: 60 here, unknown there`:                                            func(r *run.Record) { r.DurationS = nil },
		`warmup_s: unknown here, 3.5 there`:                                             func(r *run.Record) { r.WarmUpS = new(3.5) },
		`package_w: unknown here, 12.25 there`:                                          func(r *run.Record) { r.PackageW = new(12.25) },
		`system_w: unknown here, 14 there`:                                              func(r *run.Record) { r.SystemW = new(14.0) },
		`discharge: none here, 14 W there`:                                              func(r *run.Record) { r.Discharge = &run.Discharge{Watts: new(14.0)} },
		`setting_read: none here, 24W by powercap there`:                                func(r *run.Record) { r.SettingRead = new(run.Watts(24).From(run.Powercap)) },
		`result load: 3.5s (lower is better) here, 3.5s (higher is better) there`:       func(r *run.Record) { r.Results["load"] = run.Result{Value: 3.5, Unit: "s", Better: run.Higher} },
		`result load: only here`:                                                        func(r *run.Record) { delete(r.Results, "load") },
		`result fps: only there`:                                                        func(r *run.Record) { r.Results["fps"] = run.Result{} },
		`fact kernel: "6.1" here, "6.2" there`:                                          func(r *run.Record) { r.Facts["kernel"] = "6.2" },
		`findings: 0 here, 1 there`:                                                     func(r *run.Record) { r.Findings = append(r.Findings, run.Finding{Code: run.ResultMissing}) },
		`summaries: 0 here, 1 there`:                                                    func(r *run.Record) { r.Summaries = append(r.Summaries, run.Summary{}) },
	} {
		there := told()
		change(there)
		if got := differences(told(), there); !slices.Equal(got, []string{want}) {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
