//go:build !race

package agent

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// lively is 40 sensors, all that labels and energies look at among them, whose
// values change from sweep to sweep.
type lively struct {
	now     run.Instant
	sensors []run.Sensor
	values  []float64
}

func newLively() *lively {
	m := &lively{now: scripted.Start, sensors: append([]run.Sensor(nil), scripted.Sensors...)}
	for i := len(m.sensors); i < 40; i++ {
		m.sensors = append(m.sensors, run.Sensor{ID: run.Temperature, Instance: fmt.Sprint(i), Unit: "celsius", Resolution: 0.001})
	}
	m.values = make([]float64, len(m.sensors))
	return m
}

func (m *lively) Now() run.Instant           { return m.now }
func (m *lively) Sensors() []run.Sensor      { return m.sensors }
func (m *lively) SlowDue(time.Duration) bool { return false }
func (m *lively) ReadSlow(time.Duration)     {}
func (m *lively) Rescan(time.Duration)       {}
func (m *lively) Hasten(time.Duration)       {}

func (m *lively) Sweep(now time.Duration) []float64 {
	elapsed := (now - scripted.Start.Mono).Seconds()
	v := m.values // in the order of scripted.Sensors
	v[0], v[1], v[2], v[3] = 0, 20+math.Mod(elapsed, 3), 180000-20*math.Floor(elapsed), 1
	v[4], v[5], v[6], v[7] = 12*elapsed, 12, 15, 3
	for i := len(scripted.Sensors); i < len(m.values); i++ {
		v[i] = 40 + math.Mod(elapsed, 7) + float64(i)
	}
	return v
}

// nowhere stores nothing.
type nowhere struct{ *notebook }

func (nowhere) Append(context.Context, run.Batch) error { return nil }

// A whole sweep of a run does not allocate: reading, labels, discharge,
// energies, the snapshot's copy, and the batcher with its hand-over once a
// second.
func TestWholeSweepDoesNotAllocate(t *testing.T) {
	m := newLively()
	a, err := New(Options{Device: "unit-oak", Sensors: m, Recorder: nowhere{newNotebook()}, Clock: m, Stepped: true, Interval: MinInterval})
	if err != nil {
		t.Fatal(err)
	}
	mustStart(t, a, run.Start{Workload: "tile-sort", Variant: "cores=6"})
	step := func() {
		m.now = scripted.After(m.now, MinInterval)
		if err := a.Step(); err != nil {
			t.Fatal(err)
		}
	}
	for range 100 { // the batcher's memory grows to what a second takes
		step()
	}
	before := a.shared.sweeps
	if n := testing.AllocsPerRun(1000, step); n != 0 {
		t.Errorf("%v allocations a sweep, want 0", n)
	}
	if took := a.shared.sweeps - before; took < 1000 {
		t.Errorf("%d sweeps were taken in 1000 steps", took)
	}
}
