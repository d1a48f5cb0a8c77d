package contract

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
)

func analysisRuns(t *testing.T, s store.Store) {
	good := finished("run-good", 1)
	good.PackageW, good.SystemW = new(20.0), new(28.5)
	good.Discharge = &run.Discharge{Watts: new(28.5), UncertaintyWatts: new(0.25)}
	good.Results["load"] = run.Result{Value: 3, Unit: "s", Better: run.Lower}
	good.Findings = []run.Finding{{Code: run.BatteryReserve, Severity: run.SeverityDoubt, Text: "reserve"}}
	good.Summaries = []run.Summary{
		{Sensor: run.Temperature, Instance: "a", First: new(41.0)}, {Sensor: run.Temperature, Instance: "b", First: new(44.5)},
		{Sensor: run.Temperature, Instance: "c"},
		{Sensor: run.BatteryCharge, Instance: "BAT0", First: new(0.5)}, {Sensor: run.BatteryCharge, Instance: "BAT1", First: new(1.0)},
	}
	named := finished("run-named", 0)
	named.Setting, named.Variant, named.Facts, named.DurationS = run.Named("quiet").From(run.Profile), "", nil, nil
	named.Results = nil
	rejected, interrupted := finished("run-rejected", 2), finished("run-interrupted", 3)
	rejected.State, interrupted.State = run.Rejected, run.Interrupted
	imported(t, s, good, named, rejected, interrupted)
	must(t, s.BeginRun(t.Context(), newRun("run-now")))

	got, skipped, err := s.AnalysisRuns(t.Context(), store.Filter{})
	must(t, err)
	run.Advise(good.Findings)
	want := []run.Run{
		{
			ID: "run-named", Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight", Supply: "mains", Setting: run.Named("quiet").From("")}, StartedAt: run.Stamp(noon),
			Results: map[string]run.Result{}, Findings: []run.Finding{},
		},
		{
			ID: "run-good", Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight", Supply: "mains", Variant: "cores=6", Setting: run.Watts(25).From("")},
			StartedAt: run.Stamp(noon.Add(time.Minute)), DurationS: new(60.0), PackageW: new(20.0), SystemW: new(28.5), SystemWSource: run.FromExternal,
			Results:  map[string]run.Result{"score": {Value: 101, Unit: "points", Better: run.Higher}, "load": {Value: 3, Unit: "s", Better: run.Lower}},
			Findings: good.Findings, Facts: map[string]string{"kernel": "6.1"},
			StartCelsius: new(44.5), StartCharge: new(0.75), Discharge: &run.Discharge{Watts: new(28.5), UncertaintyWatts: new(0.25)},
		},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	if diff := cmp.Diff(store.Skipped{Recording: 1, Interrupted: 1, Rejected: 1}, skipped); diff != "" {
		t.Errorf("skipped (-want +got):\n%s", diff)
	}
	some, _, err := s.AnalysisRuns(t.Context(), store.Filter{Variant: "cores=6"})
	must(t, err)
	if diff := cmp.Diff(want[1:], some); diff != "" {
		t.Errorf("filtered (-want +got):\n%s", diff)
	}
}

// chargeAtTheEnd reads the charge at the end of long runs on battery, the mean of the
// batteries, also of one that ended when the device switched off.
func chargeAtTheEnd(t *testing.T, s store.Store) {
	long := func(id string, minute int) run.Record {
		d := finished(id, minute)
		d.Supply, d.DurationS = run.Battery, new(5400.0)
		d.Summaries = []run.Summary{
			{Sensor: run.BatteryCharge, Instance: "BAT0", First: new(1.0), Last: new(0.02)},
			{Sensor: run.BatteryCharge, Instance: "BAT1", First: new(1.0), Last: new(0.06)},
			{Sensor: run.Temperature, Instance: "a", First: new(41.0), Last: new(60.0)},
		}
		return d
	}
	whole, off, short, mains := long("run-whole", 1), long("run-off", 2), long("run-short", 3), long("run-mains", 4)
	off.State, short.DurationS, mains.Supply = run.Interrupted, new(60.0), run.Mains
	imported(t, s, whole, off, short, mains)

	runs, _, err := s.AnalysisRuns(t.Context(), store.Filter{Device: "unit-oak"})
	must(t, err)
	ends := map[string]*float64{}
	for _, r := range runs {
		ends[r.ID] = r.EndCharge
	}
	if diff := cmp.Diff(map[string]*float64{"run-whole": new(0.04), "run-short": nil, "run-mains": nil}, ends); diff != "" {
		t.Errorf("charge at the end (-want +got):\n%s", diff)
	}
	down, err := s.SwitchedOff(t.Context(), store.Filter{Device: "unit-oak"})
	must(t, err)
	if len(down) != 1 || down[0].ID != "run-off" || *down[0].EndCharge != 0.04 || *down[0].StartCharge != 1 {
		t.Errorf("switched off: %+v", down)
	}
	if other, err := s.SwitchedOff(t.Context(), store.Filter{Device: "unit-elm"}); err != nil || len(other) != 0 {
		t.Errorf("of another device: %+v, %v", other, err)
	}
}

// weakRuns have no system watts whatever was stored, where the run says that they mean
// nothing; those of a table stay.
func weakRuns(t *testing.T, s store.Store) {
	weak := func(id string, minute int, uncertainty float64) run.Record {
		d := finished(id, minute)
		d.Supply, d.SystemW = run.Battery, new(20.0)
		d.Discharge = &run.Discharge{Watts: new(20.0), UncertaintyWatts: &uncertainty}
		return d
	}
	sound, unsure, short, table := weak("run-sound", 1, 5), weak("run-unsure", 2, 5.1), weak("run-short", 3, 1), weak("run-table", 4, 1)
	tooShort := []run.Finding{{Code: run.TooShort, Severity: run.SeverityDoubt, Text: "0 s"}}
	short.Findings, table.Findings, table.Discharge = tooShort, tooShort, nil
	imported(t, s, sound, unsure, short, table)

	check := func(by string, runs []run.Run) {
		t.Helper()
		known := map[string]bool{}
		for _, r := range runs {
			known[r.ID] = r.SystemW != nil
		}
		if diff := cmp.Diff(map[string]bool{"run-sound": true, "run-unsure": false, "run-short": false, "run-table": true}, known); diff != "" {
			t.Errorf("system watts by %s (-want +got):\n%s", by, diff)
		}
	}
	runs, err := s.Runs(t.Context(), store.Filter{})
	must(t, err)
	check("Runs", runs)
	records, err := s.Records(t.Context(), store.Filter{})
	must(t, err)
	runs = nil
	for _, d := range records {
		runs = append(runs, d.Run)
	}
	check("Records", runs)
	runs, _, err = s.AnalysisRuns(t.Context(), store.Filter{})
	must(t, err)
	check("AnalysisRuns", runs)
	for _, r := range runs {
		if (r.NoSystemPower() != "") != (r.SystemW == nil) {
			t.Errorf("the analysis cannot tell why of %s: %q", r.ID, r.NoSystemPower())
		}
	}
	one, err := s.Run(t.Context(), "run-unsure")
	must(t, err)
	if one.SystemW != nil || one.Discharge == nil || *one.Discharge.Watts != 20 {
		t.Errorf("Run: %v, %+v", one.SystemW, one.Discharge)
	}
}
