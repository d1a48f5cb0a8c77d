package testday

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"sweepd/run"
)

func summaryOf(id, instance string, mean *float64) run.Summary {
	return run.Summary{Sensor: id, Instance: instance, Mean: mean}
}

// The temperature is the processor's where there is one, clocks and fans are means of all,
// and what has no sensor is missing, not zero.
func TestMeasured(t *testing.T) {
	all := run.Record{Run: run.Run{ID: "all"}, Summaries: []run.Summary{
		summaryOf(run.Temperature, "nvme", new(30.0)), summaryOf(run.Temperature, "coretemp/CPU 0", new(61.5)), summaryOf(run.CPUFrequency, "0", new(1e9)),
		summaryOf(run.CPUFrequency, "1", new(3e9)), summaryOf(run.FanSpeed, "a", new(50.0)), summaryOf(run.FanSpeed, "b", nil),
	}}
	disk := run.Record{Run: run.Run{ID: "disk"}, Summaries: []run.Summary{summaryOf(run.Temperature, "nvme", new(30.0))}}
	none := run.Record{Run: run.Run{ID: "none"}, Summaries: []run.Summary{summaryOf(run.BatteryPower, "BAT0", new(12.0)), summaryOf(run.FanSpeed, "a", nil)}}
	got := measured([]run.Record{all, disk, none})
	if m := got["all"]; m.TemperatureOf != "CPU" || m.Temperature != 61.5 || math.Abs(m.Clock-2) > 1e-9 || m.Fan != 3000 {
		t.Errorf("%+v", m)
	}
	if m := got["disk"]; m.TemperatureOf != "nvme" || m.Temperature != 30 || !math.IsNaN(m.Clock) || !math.IsNaN(m.Fan) {
		t.Errorf("%+v", m)
	}
	if _, has := got["none"]; has || len(got) != 2 {
		t.Errorf("%+v", got)
	}
}

// A run with a finding, an unfinished one and one at another setting than the middle one are
// not what a normal run looks like; of each device there is one, the longest.
func TestNormalRuns(t *testing.T) {
	var runs []run.Run
	add := func(id, device string, watts, seconds float64, state run.State, findings ...run.Finding) {
		r := run.Run{ID: id, Labels: run.Labels{Device: device}, State: state, DurationS: &seconds, Findings: findings}
		if watts > 0 {
			r.Setting = run.Watts(watts).From(run.Declared)
		}
		runs = append(runs, r)
	}
	for i, w := range []float64{10, 15, 25} {
		add(fmt.Sprint("oak", i), "unit-oak", w, 60, run.Finished)
	}
	add("oak longest", "unit-oak", 15, 90, run.Finished)
	add("oak hot", "unit-oak", 15, 300, run.Finished, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt})
	add("oak broken", "unit-oak", 15, 300, run.Rejected)
	add("elm", "unit-elm", 0, 60, run.Finished)
	add("pine", "unit-pine", 15, 60, run.Finished, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt})
	if got := normalRuns(runs); !slices.Equal(got, []string{"elm", "oak longest"}) {
		t.Errorf("%q", got)
	}
}
