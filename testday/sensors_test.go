package testday

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/collectors"
	"sweepd/run"
)

// fakeMachine has one sensor that reads, and others that do not, each in its way.
type fakeMachine struct{}

func (fakeMachine) Lag(int) time.Duration { return 0 }

func (fakeMachine) HotLimit(int) float64 { return math.NaN() }

func (fakeMachine) Timing(i int) (read, refresh time.Duration) {
	if i == 0 {
		return 1500 * time.Nanosecond, 2 * time.Second
	}
	return 0, 0
}

func (fakeMachine) Cause(i int) error {
	return map[int]error{
		2: &collectors.ReadError{Path: "/g", Text: "lots", Want: "a whole number"},
		3: &collectors.ReadError{Path: "/elsewhere", Text: "lots", Want: "a whole number"},
		4: errors.New("the device was unplugged"),
	}[i]
}

func (fakeMachine) Absences() []collectors.Absence {
	return []collectors.Absence{{Source: "/f", Why: "permission denied", Remedy: "run as root"}, {Source: "/p", Why: "no such driver"}}
}

func TestSensorRows(t *testing.T) {
	sensors := []run.Sensor{{ID: run.Temperature, Instance: "cpu", Unit: "celsius", Source: "/t"}, {ID: run.FanSpeed, Source: "/f"}, {ID: run.CPUsOnline, Source: "/g"},
		{ID: run.GPUBusy, Source: "/h"}, {ID: run.CPUBusy, Source: "/i"}, {ID: run.GPUPower, Source: "/j"}, {ID: run.CorePower, Source: "/k"}}
	nan := math.NaN()
	value, us, s := 51.5, 1.5, 2.0
	got := SensorRows(fakeMachine{}, sensors, []float64{value, nan, nan, nan, nan, nan}) // one value too few
	elsewhere := (&collectors.ReadError{Path: "/elsewhere", Text: "lots", Want: "a whole number"}).Error()
	want := []SensorRow{
		{Sensor: run.Temperature, Instance: "cpu", Unit: "celsius", Value: &value, Source: "/t", ReadUs: &us, RefreshS: &s},
		{Sensor: run.FanSpeed, Source: "/f", Missing: "permission denied: run as root"},
		{Sensor: run.CPUsOnline, Source: "/g", Missing: `got "lots", want a whole number`},
		{Sensor: run.GPUBusy, Source: "/h", Missing: elsewhere},
		{Sensor: run.CPUBusy, Source: "/i", Missing: "the device was unplugged"},
		{Sensor: run.GPUPower, Source: "/j", Missing: "it had no value when it was read"},
		{Sensor: run.CorePower, Source: "/k", Missing: "it had no value when it was read"},
		{Source: "/p", Missing: "no such driver"},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// A machine without a source has no rows, and is looked at as long as asked.
func TestSampleSensors(t *testing.T) {
	set := collectors.NewSet(collectors.SetOptions{})
	defer set.Close()
	start := time.Now()
	if rows := SampleSensors(t.Context(), set, 150*time.Millisecond); len(rows) != 0 || time.Since(start) < 150*time.Millisecond {
		t.Errorf("%v after %v", rows, time.Since(start))
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if start = time.Now(); len(SampleSensors(ctx, set, time.Hour)) != 0 || time.Since(start) > time.Minute {
		t.Error("it did not end when it was told to")
	}
}
