package contract

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
)

var start = time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC)

// Start is a run as the agent begins it.
func startedRun(id string) run.Record {
	read := run.Watts(24).From(run.Powercap)
	return run.Record{
		Run: run.Run{
			ID: id,
			Labels: run.Labels{
				Device: "unit-oak", Workload: `harbour "flight", late`, Supply: run.Battery,
				Setting: run.Watts(25).From(run.Declared),
				Variant: "cores=6,scaler=a=b",
			},
			SettingRead: &read,
			State:       run.Recording,
			Note:        "first of the day",
			StartedAt:   run.Stamp(start),
			Results:     map[string]run.Result{},
			Findings:    []run.Finding{},
			Facts:       map[string]string{"kernel": "6.1.0", "cores": "6"},
		},
		Summaries: []run.Summary{},
	}
}

func begins(t *testing.T, r store.Store) {
	want := startedRun("run-a")
	named := startedRun("run-b")
	named.Setting, named.SettingRead = run.Named("quiet").From(run.Profile), nil
	named.Supply, named.Variant, named.Facts = run.SupplyUnknown, "", map[string]string{}
	must(t, r.BeginRun(t.Context(), want))
	must(t, r.BeginRun(t.Context(), named))
	got, err := r.Unfinished(t.Context(), "unit-oak")
	must(t, err)
	same(t, []run.Record{want, named}, got)
	must(t, r.CheckPlace(t.Context()))
	one, err := r.Run(t.Context(), "run-b")
	must(t, err)
	same(t, named, one)
}

func beginsOnce(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	if err := r.BeginRun(t.Context(), startedRun("run-a")); err == nil {
		t.Error("the same run began twice")
	}
}

var sensors = []run.Sensor{
	{ID: run.PackagePower, Unit: "watts", Source: "/a", Resolution: 1e-6},
	{ID: run.PackageEnergy, Unit: "joules", Kind: run.Counter, Source: "/b", Resolution: 1e-6},
	{ID: run.Temperature, Instance: "skin", Unit: "celsius", Source: "/c", Resolution: 1e-3},
	{ID: run.CPUBusy, Unit: "ratio", Source: "/d"}, // no steps: kept exactly
}

// instant is i quarter seconds after the start.
func instant(i int, slept, stepped time.Duration) run.Instant {
	mono := 1000*time.Second + time.Duration(i)*250*time.Millisecond
	return run.Instant{Mono: mono, Boot: mono + slept, Wall: start.Add(time.Duration(i)*250*time.Millisecond + slept + stepped)}
}

// someSweeps has everything that may happen: a sensor that comes, goes and
// jumps, a sleep, a clock step, another setting and supply.
func someSweeps() []run.Sweep {
	declared := run.Watts(25).From(run.Declared)
	nan := math.NaN()
	return []run.Sweep{
		{At: instant(0, 0, 0), Values: []float64{12.5, 1000.000001, 40}, Setting: declared, Supply: run.Mains},
		{At: instant(1, 0, 0), Values: []float64{12.500001, 1003.2, nan}, Setting: declared, Supply: run.Mains},
		{At: instant(2, 0, 0), Values: []float64{nan, 1006.3, 41.125}, Setting: declared, Supply: run.Mains},
		{At: instant(3, 0, 0), Values: []float64{0, 1006.3, 41.125}, Setting: declared, Supply: run.Battery},
		{At: instant(4, time.Minute, 0), Values: []float64{-3.25, 0.5, 41.125, 1.0 / 3}, Setting: run.Watts(15).From(run.Powercap), Supply: run.Battery},
		{At: instant(5, time.Minute, -time.Hour), Values: []float64{1e9, 0.75, nan, 5e-324}, Setting: run.Named("quiet").From(run.Profile)},
		{At: instant(6, time.Minute, -time.Hour), Values: []float64{1e9, 1, nan, math.MaxFloat64}},
		{At: instant(7, time.Minute, -time.Hour), Values: []float64{12.5, 1, -273.15, nan}},
	}
}

func sweepsComeBack(t *testing.T, r store.Store) {
	want := someSweeps()
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	must(t, r.BeginRun(t.Context(), startedRun("run-b")))
	for _, cut := range [][2]int{{0, 2}, {2, 3}, {3, 7}, {7, 8}} {
		part := want[cut[0]:cut[1]]
		must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-a", Sensors: sensors[:widest(part)], Sweeps: part}))
		// Sweeps of another run and idle ones do not get in between.
		must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-b", Sensors: sensors[:1], Sweeps: one(cut[0])}))
		must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", Sensors: sensors[:1], Sweeps: one(cut[0])}))
	}
	trace, err := r.Trace(t.Context(), "run-a")
	must(t, err)
	same(t, sensors, trace.Sensors())
	for range 2 { // it can be walked again
		sameSweeps(t, want, walk(t, trace))
	}
	stop := errors.New("stop")
	if err := trace.Each(func(run.Sweep) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("Each returned %v, want the error of its function", err)
	}
}

func widest(sweeps []run.Sweep) (n int) {
	for _, s := range sweeps {
		n = max(n, len(s.Values))
	}
	return n
}

func one(i int) []run.Sweep {
	return []run.Sweep{{At: instant(i, 0, 0), Values: []float64{99}}}
}

func buffersStay(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	want := someSweeps()
	values, batch := make([]float64, 3), make([]run.Sweep, 1)
	mySensors := slices.Clone(sensors[:3])
	for i := range 4 {
		copy(values, want[i].Values)
		batch[0] = want[i]
		batch[0].Values = values
		must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-a", Sensors: mySensors, Sweeps: batch}))
		values[0], batch[0] = -1, run.Sweep{}
	}
	mySensors[0].ID = "other"
	trace, err := r.Trace(t.Context(), "run-a")
	must(t, err)
	same(t, sensors[:3], trace.Sensors())
	sameSweeps(t, want[:4], walk(t, trace))
}

func emptyBatch(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-a", Sensors: sensors}))
}

func withoutSweeps(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	trace, err := r.Trace(t.Context(), "run-a")
	must(t, err)
	if n := len(walk(t, trace)) + len(trace.Sensors()); n != 0 {
		t.Errorf("a run without sweeps has %d sweeps and sensors", n)
	}
}

func refusals(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	good := run.Batch{Device: "unit-oak", RunID: "run-a", Sensors: sensors[:2], Sweeps: []run.Sweep{{At: instant(0, 0, 0), Values: []float64{1, 2}}}}
	must(t, r.Append(t.Context(), good))
	for what, change := range map[string]func(*run.Batch){
		"an infinite value":          func(b *run.Batch) { b.Sweeps[0].Values[1] = math.Inf(-1) },
		"more values than sensors":   func(b *run.Batch) { b.Sweeps[0].Values = []float64{1, 2, 3} },
		"sensors that changed place": func(b *run.Batch) { b.Sensors = []run.Sensor{sensors[1], sensors[0]} },
		"sweeps of an unknown run":   func(b *run.Batch) { b.RunID = "run-z" },
	} {
		bad := good
		bad.Sweeps = []run.Sweep{{At: instant(1, 0, 0), Values: []float64{1, 2}}}
		change(&bad)
		if r.Append(t.Context(), bad) == nil {
			t.Errorf("%s: no error", what)
		}
	}
	next := good
	next.Sweeps = []run.Sweep{{At: instant(2, 0, 0), Values: []float64{3, 4}}}
	must(t, r.Append(t.Context(), next))
	trace, err := r.Trace(t.Context(), "run-a")
	must(t, err)
	sameSweeps(t, append(good.Sweeps, next.Sweeps...), walk(t, trace))
}

func number(v float64) *float64 { return &v }

func judgedRun(id string) run.Record {
	d := startedRun(id)
	d.State, d.Supply = run.Finished, run.Mains
	d.Setting = run.Watts(12.25).From(run.Firmware)
	d.DurationS, d.WarmUpS, d.PackageW = number(12.25), number(3.5), number(11.5)
	d.Results["fps_mean"] = run.Result{Value: 61.25, Unit: "fps", Better: run.Higher}
	d.Results["load_s"] = run.Result{Value: 3, Unit: "s", Better: run.Lower}
	d.Findings = []run.Finding{
		{Code: run.TooShort, Severity: run.SeverityDoubt, Text: "12 s, less than 30 s: run longer"},
		{Code: run.ClockStepped, Severity: run.SeverityNote, Text: "the clock was set back 3600 s", At: start.Add(1500 * time.Millisecond)},
	}
	run.Advise(d.Findings) // advice is not recorded: what is read has that of its codes
	d.Summaries = []run.Summary{
		{Sensor: run.PackagePower, Unit: "watts", Mean: number(11.5), Min: number(0), Max: number(1e9), P95: number(12.5), First: number(12.5), Last: number(12.5), EnergyJoules: number(34.5), SteadyMean: number(11)},
		{Sensor: run.Temperature, Instance: "skin", Unit: "celsius", First: number(40)},
		{Sensor: run.BatteryCharge, Unit: "ratio"},
	}
	d.Discharge = &run.Discharge{Watts: number(0.5), UncertaintyWatts: number(0.01), FromPowerWatts: number(0.5)}
	return d
}

func finishes(t *testing.T, r store.Store) {
	for _, state := range []run.State{run.Finished, run.Interrupted, run.Rejected} {
		want := judgedRun("run-" + string(state))
		want.State = state
		if state == run.Rejected {
			want.Why = "suspended: slept 60 s"
		}
		began := startedRun(want.ID)
		began.Findings = []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "62 C: let it cool"}}
		must(t, r.BeginRun(t.Context(), began))
		must(t, r.FinishRun(t.Context(), want))
		got, err := r.Run(t.Context(), want.ID)
		must(t, err)
		same(t, want, got)
		if err := r.FinishRun(t.Context(), want); !errors.Is(err, run.ErrEnded) {
			t.Errorf("run %s finished twice: %v", want.ID, err)
		}
	}
	left, err := r.Unfinished(t.Context(), "unit-oak")
	must(t, err)
	if len(left) != 0 {
		t.Errorf("%d runs are unfinished, want 0", len(left))
	}
}

func resultsMeanwhile(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	kept := run.Result{Value: 7, Unit: "points", Better: run.Higher}
	_, err := r.Correct(t.Context(), "run-a", run.Correction{At: start, Results: map[string]run.NewResult{
		"score": {Result: kept}, "fps_mean": {Result: run.Result{Value: 1, Better: run.Higher}},
	}})
	must(t, err)
	d := judgedRun("run-a")
	d.Findings = append(d.Findings, run.Finding{Code: run.ResultMissing, Severity: run.SeverityDoubt, Text: "no result"})
	d.Facts = map[string]string{}
	must(t, r.FinishRun(t.Context(), d))
	want := judgedRun("run-a")
	want.Results["score"] = kept
	got, err := r.Run(t.Context(), "run-a")
	must(t, err)
	same(t, want, got)
}

// A run that could not be stored when it ended gets results meanwhile: later ones than
// those of its end.
func resultsAfterTheEnd(t *testing.T, r store.Store) {
	must(t, r.BeginRun(t.Context(), startedRun("run-a")))
	d := judgedRun("run-a")
	later := start.Add(time.Duration(*d.DurationS*float64(time.Second)) + time.Minute)
	corrected := run.Result{Value: 99, Unit: "fps", Better: run.Higher}
	_, err := r.Correct(t.Context(), "run-a", run.Correction{At: later, Results: map[string]run.NewResult{"fps_mean": {Result: corrected}}})
	must(t, err)
	must(t, r.FinishRun(t.Context(), d))
	got, err := r.Run(t.Context(), "run-a")
	must(t, err)
	want := judgedRun("run-a")
	old := want.Results["fps_mean"]
	want.Results["fps_mean"] = corrected
	same(t, want, got)
	h, err := r.History(t.Context(), "run-a")
	must(t, err)
	if len(h.Results) != 1 || h.Results[0].Result != old || h.Results[0].Name != "fps_mean" || !h.Results[0].ReplacedAt.Equal(later) || !h.Results[0].SetAt.Before(later) {
		t.Errorf("history %+v", h.Results)
	}
}

func unknownRuns(t *testing.T, r store.Store) {
	if err := r.FinishRun(t.Context(), judgedRun("run-z")); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("FinishRun of an unknown run: %v", err)
	}
	if _, err := r.Trace(t.Context(), "run-z"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("Trace of an unknown run: %v", err)
	}
	if _, err := r.Correct(t.Context(), "run-z", run.Correction{At: start}); err == nil {
		t.Error("Correct of an unknown run: no error")
	}
	if _, err := r.Run(t.Context(), "run-z"); err == nil {
		t.Error("Run of an unknown run: no error")
	}
}

func idleSince(t *testing.T, r store.Store) {
	var want []run.Sweep
	for i := range 200 {
		s := run.Sweep{At: instant(40*i, 0, 0), Values: []float64{float64(i), float64(i * i)}, Supply: run.Mains}
		must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", Sensors: sensors[:2], Sweeps: []run.Sweep{s}}))
		want = append(want, s)
		if i == 50 { // a run, and another device, in between
			must(t, r.BeginRun(t.Context(), startedRun("run-a")))
			must(t, r.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-a", Sensors: sensors[:2], Sweeps: one(0)}))
			must(t, r.Append(t.Context(), run.Batch{Device: "unit-elm", Sensors: sensors[:2], Sweeps: one(0)}))
		}
	}
	for _, from := range []int{0, 1, 49, 51, 130, 199, 200} {
		trace, err := r.IdleSweeps(t.Context(), "unit-oak", instant(40*from, 0, 0).Wall)
		must(t, err)
		sameSweeps(t, want[from:], walk(t, trace))
	}
	trace, err := r.IdleSweeps(t.Context(), "unit-ash", time.Time{})
	must(t, err)
	if n := len(walk(t, trace)); n != 0 {
		t.Errorf("a device without sweeps has %d", n)
	}
}

// Idle sweeps of an agent that came back with other sensors make one trace: each value
// stands at its sensor, and is missing where the sensor was not there.
func idleOfOtherSensors(t *testing.T, s store.Store) {
	nan := math.NaN()
	add := func(i int, sensors []run.Sensor, values ...float64) {
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", Sensors: sensors, Sweeps: []run.Sweep{{At: instant(40*i, 0, 0), Values: values}}}))
	}
	add(0, sensors[:2], 1, 2)
	add(1, []run.Sensor{sensors[1], sensors[2]}, 3, 4)
	add(2, []run.Sensor{sensors[2], sensors[0], sensors[1]}, 5, 6, 7)
	trace, err := s.IdleSweeps(t.Context(), "unit-oak", time.Time{})
	must(t, err)
	same(t, sensors[:3], trace.Sensors())
	var want []run.Sweep
	for i, values := range [][]float64{{1, 2, nan}, {nan, 3, 4}, {6, 7, 5}} {
		want = append(want, run.Sweep{At: instant(40*i, 0, 0), Values: values})
	}
	got := walk(t, trace)
	for i := range got {
		for len(got[i].Values) < 3 { // a sweep may be shorter than the sensors
			got[i].Values = append(got[i].Values, nan)
		}
	}
	sameSweeps(t, want, got)
}
