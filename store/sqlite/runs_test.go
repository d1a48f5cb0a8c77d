package sqlite

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
)

// finished is a run with a result, n minutes after noon.
func finished(id string, minutes int) run.Record {
	d := newRun(id)
	d.State, d.StartedAt, d.DurationS = run.Finished, run.Stamp(noon.Add(time.Duration(minutes)*time.Minute)), new(60.0)
	d.Results["score"] = run.Result{Value: 100 + float64(minutes), Unit: "points", Better: run.Higher}
	return d
}

func imported(t *testing.T, s *Store, runs ...run.Record) {
	t.Helper()
	added, _, err := s.ImportRuns(t.Context(), runs, nil)
	must(t, err)
	if added != len(runs) {
		t.Fatalf("%d of %d runs added", added, len(runs))
	}
}

func TestFindRun(t *testing.T) {
	s := openTest(t)
	if _, err := s.FindRun(t.Context(), "last"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("last of none: %v", err)
	}
	imported(t, s, finished("20260501-aaaa1111", 1), finished("20260501-bbbb2222", 3), finished("20260502-cccc2222", 2), finished("abcd", 0), finished("abcdef", 0))
	for given, want := range map[string]string{
		"20260501-aaaa1111": "20260501-aaaa1111",
		"last":              "20260501-bbbb2222",
		"20260502":          "20260502-cccc2222",
		"bb2222":            "20260501-bbbb2222",
		"abcd":              "abcd", // in full, though another begins with it
	} {
		if got, err := s.FindRun(t.Context(), given); err != nil || got != want {
			t.Errorf("%q: %q, %v, want %q", given, got, err, want)
		}
	}
	for given, want := range map[string]error{
		"2222": store.ErrAmbiguous, "20260501": store.ErrAmbiguous, "111": run.ErrNoRun, "": run.ErrNoRun, "%%%%": run.ErrNoRun, "aaaa": run.ErrNoRun, "nothing": run.ErrNoRun,
	} {
		if got, err := s.FindRun(t.Context(), given); !errors.Is(err, want) {
			t.Errorf("%q: %q, %v, want %v", given, got, err, want)
		}
	}
	_, err := s.Run(t.Context(), "2222")
	if want := `run "2222" fits several runs: 20260501-bbbb2222 (2026-05-01T12:03:00.000Z), 20260502-cccc2222 (2026-05-01T12:02:00.000Z): give more letters`; err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

func TestFilter(t *testing.T) {
	s := openTest(t)
	runs := make([]run.Record, 6)
	for i := range runs {
		runs[i] = finished(fmt.Sprintf("run-%d", i), 6-i)
	}
	runs[1].Device = "unit-elm"
	runs[2].Workload = "tile-sort"
	runs[3].Supply = run.Battery
	runs[4].Variant = "cores=12,scaler=a=b"
	runs[5].State = run.Interrupted
	imported(t, s, runs...)
	for what, c := range map[string]struct {
		filter store.Filter
		want   string
	}{
		"all, by start":         {store.Filter{}, "5 4 3 2 1 0"},
		"device":                {store.Filter{Device: "unit-elm"}, "1"},
		"workload":              {store.Filter{Workload: "tile-sort"}, "2"},
		"supply":                {store.Filter{Supply: run.Battery}, "3"},
		"variant":               {store.Filter{Variant: "cores=12"}, "4"},
		"two pairs":             {store.Filter{Variant: "cores=12,scaler=a=b"}, "4"},
		"not a part of a value": {store.Filter{Variant: "cores=1"}, ""},
		"not a part of a key":   {store.Filter{Variant: "ores=12"}, ""},
		"state":                 {store.Filter{State: run.Interrupted}, "5"},
		"from and until":        {store.Filter{Since: noon.Add(2 * time.Minute), Until: noon.Add(4 * time.Minute)}, "4 3"},
		"the newest":            {store.Filter{Limit: 2}, "1 0"},
		"the newest of some":    {store.Filter{Device: "unit-oak", Supply: run.Mains, Limit: 2}, "2 0"},
	} {
		got, err := s.Runs(t.Context(), c.filter)
		must(t, err)
		var ids []string
		for _, r := range got {
			ids = append(ids, strings.TrimPrefix(r.ID, "run-"))
		}
		if all := strings.Join(ids, " "); all != c.want {
			t.Errorf("%s: runs %s, want %s", what, all, c.want)
		}
	}
}

func TestCorrections(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	d := finished("run-0001", 0)
	d.Results = map[string]run.Result{}
	d.Findings = []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "hot"}, {Code: run.ResultMissing, Severity: run.SeverityDoubt, Text: "none"}}
	imported(t, s, d)

	first := run.Result{Value: 60, Unit: "fps", Better: run.Higher}
	second := run.Result{Value: 16.6, Unit: "ms", Better: run.Lower}
	correct(t, s, d.ID, oneResult("fps", first, noon))
	correct(t, s, d.ID, oneResult("fps", first, noon.Add(time.Minute))) // no change, no history
	returned := correct(t, s, d.ID, oneResult("fps", second, noon.Add(time.Hour)))
	got, err := s.Run(ctx, d.ID)
	must(t, err)
	if diff := cmp.Diff(got, returned); diff != "" {
		t.Errorf("what Correct returned (-read +returned):\n%s", diff)
	}
	if diff := cmp.Diff(map[string]run.Result{"fps": second}, got.Results); diff != "" {
		t.Error(diff)
	}
	if len(got.Findings) != 1 || got.Findings[0].Code != run.HotStart {
		t.Errorf("findings are %v, want the one about heat", got.Findings)
	}
	history, err := s.History(ctx, d.ID)
	must(t, err)
	want := []store.OldResult{{Name: "fps", Result: first, SetAt: run.Stamp(noon), ReplacedAt: run.Stamp(noon.Add(time.Hour))}}
	if diff := cmp.Diff(want, history.Results); diff != "" {
		t.Error(diff)
	}
	for what, r := range map[string]run.Result{"no direction": {Value: 1}, "NaN": {Value: nan(), Better: run.Higher}} {
		if _, err := s.Correct(ctx, d.ID, oneResult("fps", r, noon)); err == nil {
			t.Errorf("a result with %s was taken", what)
		}
	}
	if _, err := s.Correct(ctx, "run-9999", oneResult("fps", first, noon)); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("result of an unknown run: %v", err)
	}
}

func oneResult(name string, r run.Result, at time.Time) run.Correction {
	return run.Correction{Results: map[string]run.NewResult{name: {Result: r}}, At: at}
}

func correct(t testing.TB, s *Store, id string, c run.Correction) run.Record {
	t.Helper()
	r, err := s.Correct(t.Context(), id, c)
	must(t, err)
	return r
}

func reject(why string) run.Correction {
	return run.Correction{Decision: run.Reject, Why: why, At: noon}
}

func keep(why string) run.Correction {
	return run.Correction{Decision: run.Keep, Why: why, At: noon}
}

// A result keeps the direction that it had where the correction leaves it open.
func TestCorrectionKeepsDirections(t *testing.T) {
	s := openTest(t)
	imported(t, s, finished("run-0001", 0))
	open := func(v float64) run.NewResult {
		return run.NewResult{Result: run.Result{Value: v, Better: run.Higher}, KeepBetter: true}
	}
	correct(t, s, "run-0001", oneResult("load", run.Result{Value: 3, Better: run.Lower}, noon))
	r := correct(t, s, "run-0001", run.Correction{Results: map[string]run.NewResult{"load": open(4), "new": open(5)}, At: noon})
	if r.Results["load"].Better != run.Lower || r.Results["load"].Value != 4 || r.Results["new"].Better != run.Higher {
		t.Errorf("results %v", r.Results)
	}
	r = correct(t, s, "run-0001", oneResult("load", run.Result{Value: 4, Better: run.Higher}, noon))
	if r.Results["load"].Better != run.Higher {
		t.Errorf("a direction that was said: %v", r.Results)
	}
}

// Whatever part of a correction fails, nothing of it is kept.
func TestCorrectionAllOrNone(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	imported(t, s, finished("run-0001", 0))
	must(t, s.BeginRun(ctx, newRun("run-now")))
	for what, c := range map[string]struct {
		id     string
		change func(*run.Correction)
		want   error
	}{
		"reject while recording":   {"run-now", func(c *run.Correction) { c.Decision, c.Why = run.Reject, "too warm" }, store.ErrRecording},
		"keep what nobody rejects": {"run-0001", func(c *run.Correction) { c.Decision, c.Why = run.Keep, "all well" }, store.ErrNotRejected},
		"no reason":                {"run-0001", func(c *run.Correction) { c.Decision = run.Reject }, nil},
		"no such decision":         {"run-0001", func(c *run.Correction) { c.Decision, c.Why = "drop", "too warm" }, nil},
		"a result of no direction": {"run-0001", func(c *run.Correction) { c.Results["z"] = run.NewResult{Result: run.Result{Value: 1}} }, nil},
		"a finding of no severity": {"run-0001", func(c *run.Correction) { c.Findings[run.HotStart] = &run.Finding{Code: run.HotStart} }, nil},
	} {
		before, err := s.Run(ctx, c.id)
		must(t, err)
		change := run.Correction{At: noon, Results: map[string]run.NewResult{"fps": {Result: run.Result{Value: 60, Better: run.Higher}}, "score": {Result: run.Result{Value: 7, Better: run.Lower}}},
			Findings: map[run.Code]*run.Finding{run.FramesShort: {Code: run.FramesShort, Severity: run.SeverityDoubt, Text: "20 s of 60 s"}}}
		c.change(&change)
		if _, err := s.Correct(ctx, c.id, change); err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", what, err, c.want)
		}
		after, err := s.Run(ctx, c.id)
		must(t, err)
		if diff := cmp.Diff(before, after); diff != "" {
			t.Errorf("%s (-before +after):\n%s", what, diff)
		}
		if h, err := s.History(ctx, c.id); err != nil || len(h.Results)+len(h.Decisions) > 0 {
			t.Errorf("%s: history %+v, %v", what, h, err)
		}
	}
}

func nan() float64 { zero := 0.0; return zero / zero }

func TestRejectAndKeep(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	broken := finished("run-broken", 1)
	broken.State = run.Interrupted
	byFinding := finished("run-slept", 2)
	byFinding.State, byFinding.Why = run.Rejected, "suspended: slept"
	imported(t, s, finished("run-good", 0), broken, byFinding)
	must(t, s.BeginRun(ctx, newRun("run-now")))

	state := func(id string, want run.State, why string) {
		t.Helper()
		d, err := s.Run(ctx, id)
		must(t, err)
		if d.State != want || d.Why != why {
			t.Errorf("%s is %s (%q), want %s (%q)", id, d.State, d.Why, want, why)
		}
	}
	for id, before := range map[string]run.State{"run-good": run.Finished, "run-broken": run.Interrupted} {
		correct(t, s, id, reject("door open"))
		correct(t, s, id, reject("fan blocked"))
		state(id, run.Rejected, "fan blocked")
		correct(t, s, id, keep("it was not"))
		state(id, before, "")
		if _, err := s.Correct(ctx, id, keep("again")); !errors.Is(err, store.ErrNotRejected) {
			t.Errorf("keeping %s again: %v", id, err)
		}
	}
	correct(t, s, "run-slept", keep("before the start"))
	state("run-slept", run.Finished, "")
	if _, err := s.Correct(ctx, "run-now", reject("no")); !errors.Is(err, store.ErrRecording) {
		t.Errorf("rejecting while recording: %v", err)
	}
	if _, err := s.Correct(ctx, "run-good", reject(" ")); err == nil {
		t.Error("rejected without a reason")
	}
	history, err := s.History(ctx, "run-good")
	must(t, err)
	want := []store.Decided{
		{At: run.Stamp(noon), What: run.Reject, Who: "user", Why: "door open"},
		{At: run.Stamp(noon), What: run.Reject, Who: "user", Why: "fan blocked"},
		{At: run.Stamp(noon), What: run.Keep, Who: "user", Why: "it was not"},
	}
	if diff := cmp.Diff(want, history.Decisions); diff != "" {
		t.Error(diff)
	}
}

func TestAnalysisRuns(t *testing.T) {
	s := openTest(t)
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
			StartedAt: run.Stamp(noon.Add(time.Minute)), DurationS: new(60.0), PackageW: new(20.0), SystemW: new(28.5),
			Results:  map[string]run.Result{"score": {Value: 101, Unit: "points", Better: run.Higher}, "load": {Value: 3, Unit: "s", Better: run.Lower}},
			Findings: good.Findings, Facts: map[string]string{"kernel": "6.1"},
			StartCelsius: new(44.5), StartCharge: new(0.75), Discharge: &run.Discharge{UncertaintyWatts: new(0.25)},
		},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	if want := (store.Skipped{Recording: 1, Interrupted: 1, Rejected: 1}); skipped != want {
		t.Errorf("skipped %+v, want %+v", skipped, want)
	}
	some, _, err := s.AnalysisRuns(t.Context(), store.Filter{Variant: "cores=6"})
	must(t, err)
	if diff := cmp.Diff(want[1:], some); diff != "" {
		t.Errorf("filtered (-want +got):\n%s", diff)
	}
}

func TestImport(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	runs := manyRuns(2500)
	var steps []int
	added, known, err := s.ImportRuns(ctx, runs, func(done, total int) { steps = append(steps, done, total) })
	must(t, err)
	if added != 2500 || known != 0 || !cmp.Equal(steps, []int{1000, 2500, 2000, 2500, 2500, 2500}) {
		t.Errorf("added %d, known %d, progress %v", added, known, steps)
	}
	added, known, err = s.ImportRuns(ctx, append(runs[:10:10], finished("one-more", 0)), nil)
	must(t, err)
	if added != 1 || known != 10 {
		t.Errorf("again: added %d, known %d", added, known)
	}
	got, err := s.Records(ctx, store.Filter{Device: "unit-elm", Limit: 3})
	must(t, err)
	if diff := cmp.Diff([]run.Record{runs[2495], runs[2497], runs[2499]}, got); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	devices, err := s.Devices(ctx)
	must(t, err)
	if len(devices) != 2 || devices[0].Device != "unit-elm" || devices[0].Runs != 1250 || !devices[1].First.Equal(noon) {
		t.Errorf("devices %+v", devices)
	}
	bad := finished("bad", 0)
	bad.PackageW = new(nan())
	if _, _, err := s.ImportRuns(ctx, []run.Record{finished("good", 0), bad}, nil); err == nil {
		t.Error("a run with NaN watts was imported")
	}
	if _, err := s.FindRun(ctx, "good"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("part of a refused import was kept: %v", err)
	}
}

// manyRuns are n finished runs of two devices, 20 settings, with two results, a
// finding in every seventh, and facts that change from day to day.
func manyRuns(n int) []run.Record {
	runs := make([]run.Record, n)
	for i := range runs {
		d := newRun(fmt.Sprintf("%08x-run", uint32(i)*2654435761)) // not in order
		d.Device = []string{"unit-oak", "unit-elm"}[i%2]
		d.Setting = declaredWatts(float64(6 + i/2%20))
		d.State = run.Finished
		d.StartedAt = run.Stamp(noon.Add(time.Duration(i) * 3 * time.Minute))
		duration, package_ := 120.0+float64(i%7)/8, 10.0+float64(i%13)
		d.DurationS, d.PackageW = &duration, &package_
		d.Results["fps_mean"] = run.Result{Value: 60 + float64(i%17)/16, Unit: "fps", Better: run.Higher}
		d.Results["score"] = run.Result{Value: 1000 + float64(i%31), Better: run.Higher}
		if i%7 == 0 {
			d.Findings = append(d.Findings, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "62 C, baseline 41 C"})
			run.Advise(d.Findings)
		}
		d.Facts = map[string]string{}
		for f := range 20 {
			d.Facts[fmt.Sprintf("fact_%02d", f)] = "the same for all"
		}
		d.Facts["battery_cycles"] = fmt.Sprint(i / 300)
		runs[i] = d
	}
	return runs
}

// TestRunDown reads the charge at the end of long runs on battery, the mean of the
// batteries, also of one that ended when the device switched off.
func TestRunDown(t *testing.T) {
	s := openTest(t)
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
