package testday

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/judge"
	"sweepd/report"
	"sweepd/run"
	"sweepd/store"
)

var lineSensors = []run.Sensor{
	{ID: run.Temperature, Instance: "nvme"}, {ID: run.Temperature, Instance: "BAT0"}, {ID: run.Temperature, Instance: "amdgpu/gpu edge"},
	{ID: run.Temperature, Instance: "coretemp/CPU 0"}, {ID: run.Temperature, Instance: "cpu 1"},
	{ID: run.PackagePower}, {ID: run.PackagePower, Instance: "1"}, {ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.PowerLimit, Instance: run.LimitFirmware},
	{ID: run.CPUFrequency, Instance: "0"}, {ID: run.CPUFrequency, Instance: "1"}, {ID: run.GPUFrequency}, {ID: run.FanSpeed},
}

// recordRun stores a run of three sweeps, 1 s apart.
func recordRun(t *testing.T, s store.Store, id string, findings ...run.Finding) {
	t.Helper()
	d := run.Record{Run: run.Run{ID: id, State: run.Recording, StartedAt: run.Stamp(morning), Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains}}}
	if err := s.BeginRun(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	b := run.Batch{Device: "unit-oak", RunID: id, Sensors: lineSensors}
	for i := range 3 {
		at := time.Duration(i) * time.Second
		values := []float64{30, 31, 50 + float64(i), 60, 61, 12, 13, 20, 15, 1e9, 3e9, math.NaN(), 50}
		if i == 1 {
			values[9] = math.NaN() // of two clocks one is known
		}
		b.Sweeps = append(b.Sweeps, run.Sweep{At: run.Instant{Wall: morning.Add(at), Mono: time.Hour + at, Boot: time.Hour + at}, Values: values, Supply: run.Mains})
	}
	if err := s.Append(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	two := 2.0
	d.State, d.DurationS, d.Findings = run.Finished, &two, findings
	if err := s.FinishRun(t.Context(), d); err != nil {
		t.Fatal(err)
	}
}

func TestReportInput(t *testing.T) {
	s := openStore(t)
	day(t, s)
	recordRun(t, s, "019d0000-0001", run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "hot"})
	sets := []report.Frames{{Name: "a"}}
	in, err := ReportInput(t.Context(), s, ReportRequest{Filter: store.Filter{Device: "unit-oak"}, Lower: []string{"seconds"}, Frames: sets})
	if err != nil || len(in.Runs) != 19 || len(in.Frames) != 1 || !strings.HasPrefix(string(in.Tidy), "run,device,") || strings.Count(string(in.Tidy), "\n") != 20 {
		t.Fatalf("%d runs, %d frames, tidy %.80s, %v", len(in.Runs), len(in.Frames), in.Tidy, err)
	}
	if len(in.Devices) != 1 || in.Devices[0].Name != "unit-oak" || !slices.Equal(in.Devices[0].Facts["os"], []string{"sim 0", "sim 1"}) || !slices.Equal(in.Devices[0].Facts["battery_full_wh"], []string{"48.6"}) {
		t.Errorf("facts %+v", in.Devices)
	}
	if len(in.Traces) != 1 || in.Traces[0].Run != "019d0000-0001" {
		t.Fatalf("drawn: %+v", in.Traces)
	}
	if in, err = ReportInput(t.Context(), s, ReportRequest{Filter: store.Filter{Workload: "tile-sort"}, Runs: []string{"0901", "0903"}}); err == nil || !strings.Contains(err.Error(), "no such run") {
		t.Errorf("no such run: %v", err)
	}
	if in, err = ReportInput(t.Context(), s, ReportRequest{Runs: []string{"0903", "0001"}}); err != nil || len(in.Traces) != 2 || in.Traces[0].Run != "019a0000-0903" || in.Traces[1].Run != "019d0000-0001" {
		t.Errorf("named: %+v, %v", in.Traces, err)
	}
	if _, err := ReportInput(t.Context(), s, ReportRequest{Filter: store.Filter{Supply: run.Battery}, Runs: []string{"0001"}}); err == nil || !strings.Contains(err.Error(), "run 019d0000-0001 is not among the selected ones") {
		t.Errorf("named, but not selected: %v", err)
	}
	if in, err := ReportInput(t.Context(), s, ReportRequest{Questions: report.Questions{Metrics: []string{"none"}}}); err == nil || in.Tidy != nil || in.Traces != nil {
		t.Errorf("a result that no run has: %v, and yet a report of %+v", err, in.Traces)
	}
	failsWhereItsStoreDoes(t, s, []string{"AnalysisRuns", "SwitchedOff", "Records", "Trace"}, func(s store.Store) error {
		_, err := ReportInput(t.Context(), s, ReportRequest{})
		return err
	})
}

func TestTraceOfARun(t *testing.T) {
	s := openStore(t)
	recordRun(t, s, "019d0000-0001")
	x, err := readTrace(t.Context(), s, "019d0000-0001")
	if err != nil || x.Run != "019d0000-0001" {
		t.Fatal(err)
	}
	names := func(lines []report.Line) string {
		var list []string
		for _, l := range lines {
			list = append(list, l.Name)
		}
		return strings.Join(list, ", ")
	}
	if got := names(x.Temperature) + "; " + names(x.Power) + "; " + names(x.Clock); got != "CPU, GPU, battery; package, battery, limit; CPU, mean of 2" {
		t.Errorf("lines: %s", got) // the GPU's clock is never known
	}
	gpu, clock := x.Temperature[1], x.Clock[0]
	if !slices.Equal(gpu.Times, []float64{0, 1, 2}) || !slices.Equal(gpu.Values, []float64{50, 51, 52}) || gpu.Steps {
		t.Errorf("GPU: %+v", gpu)
	}
	if !slices.Equal(clock.Values, []float64{2, 3, 2}) { // GHz
		t.Errorf("clock: %+v", clock)
	}
	if !x.Power[2].Steps || x.Power[0].Values[0] != 12 || x.Power[1].Values[0] != 20 {
		t.Errorf("power: %+v", x.Power)
	}
}

// Where no temperature says what it is of, the first few are drawn by their names.
func TestTemperatures(t *testing.T) {
	var sensors []run.Sensor
	for _, name := range []string{"d", "c", "b", "a"} {
		sensors = append(sensors, run.Sensor{ID: run.Temperature, Instance: name})
	}
	var names []string
	for _, l := range temperatures(sensors) {
		names = append(names, l.Name)
	}
	if !slices.Equal(names, []string{"d", "c", "b"}) {
		t.Errorf("%q", names)
	}
	if lines := temperatures(nil); len(lines) != 0 {
		t.Errorf("%+v", lines)
	}
}

// A limit is told of a busy run whose power was flat; else the error names the run.
func TestInferLimit(t *testing.T) {
	s := openStore(t)
	recordRun(t, s, "019d0000-0001")
	if _, err := InferLimit(t.Context(), s, "0001"); !errors.Is(err, judge.ErrNoFlatTop) || !strings.HasPrefix(err.Error(), "run 019d0000-0001: ") {
		t.Errorf("three sweeps tell nothing: %v", err)
	}
	if _, err := InferLimit(t.Context(), s, "none"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("no run: %v", err)
	}
	if _, err := InferLimit(t.Context(), &failing{s, "Trace"}, "0001"); !errors.Is(err, errDisk) {
		t.Errorf("no trace: %v", err)
	}
	d := run.Record{Run: run.Run{ID: "019d0000-0002", State: run.Recording, StartedAt: run.Stamp(morning.Add(time.Hour))}}
	if err := s.BeginRun(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	b := run.Batch{RunID: d.ID, Sensors: []run.Sensor{{ID: run.PackagePower, Unit: "watts", Resolution: 1e-6}}}
	for i := range 60 {
		at := time.Duration(i) * time.Second
		b.Sweeps = append(b.Sweeps, run.Sweep{At: run.Instant{Wall: morning.Add(time.Hour + at), Mono: time.Hour + at, Boot: time.Hour + at}, Values: []float64{15}})
	}
	if err := s.Append(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	if limit, err := InferLimit(t.Context(), s, "last"); err != nil || limit.Watts != 15 || limit.From != "package_w" {
		t.Errorf("a minute at 15 W: %+v, %v", limit, err)
	}
}
