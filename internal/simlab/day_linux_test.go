package simlab_test

import (
	"context"
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/agent"
	"sweepd/analysis"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// What a simulated day says of the battery agrees with what the device was made
// of: the power of the rest of the device and what a watt of the package costs.
func TestADaysBatteryAgainstTheTruth(t *testing.T) {
	for _, cfg := range []simdevice.Config{simdevice.UnitOak(), simdevice.UnitElm()} {
		t.Run(cfg.Name, func(t *testing.T) {
			g := batteryOf(t, cfg)
			covers(t, "intercept", g.Overhead.InterceptLowerW, g.Overhead.InterceptUpperW, cfg.OverheadW)
			covers(t, "slope", g.Overhead.SlopeLower, g.Overhead.SlopeUpper, cfg.OverheadSlope)
			inside := 0
			for _, p := range g.Points {
				packageW := math.Min(math.Max(float64(p.SettingW), cfg.FloorW), cfg.CapW)
				if truth := cfg.OverheadW + cfg.OverheadSlope*packageW; truth >= float64(p.Lower) && truth <= float64(p.Upper) {
					inside++
				}
				if width := float64(p.Upper/p.Lower) - 1; width > 0.06 {
					t.Errorf("at %v W the interval is %.1f %% wide", p.SettingW, 100*width)
				}
			}
			if 10*inside < 9*len(g.Points) {
				t.Errorf("%d of %d intervals of the system's power hold the truth", inside, len(g.Points))
			}
		})
	}
}

func covers(t *testing.T, what string, lower, upper analysis.Number, truth float64) {
	t.Helper()
	if !(float64(lower) <= truth && truth <= float64(upper)) {
		t.Errorf("%s: %v to %v does not hold the truth %v", what, lower, upper, truth)
	}
}

func batteryOf(t *testing.T, cfg simdevice.Config) analysis.BatteryGroup {
	t.Helper()
	s := newStore(t)
	b := newBench(t, cfg, s)
	day := simlab.Day{Settings: []float64{6, 9, 12, 15, 18, 22, 27, 33, 40, 50}, Passes: 3, Seed: 1,
		Plays: []simlab.Play{{Workload: simdevice.HarbourFlight(), For: time.Minute}}}
	if err := day.Play(b); err != nil {
		t.Fatal(err)
	}
	runs, _, err := s.AnalysisRuns(t.Context(), store.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	result, err := analysis.Battery(runs, analysis.BatteryRequest{})
	if err != nil || len(result.Groups) != 1 {
		t.Fatalf("%d groups, error %v", len(result.Groups), err)
	}
	return result.Groups[0]
}

func newStore(t *testing.T) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// newBench puts a device on the bench until the test ends.
func newBench(t *testing.T, cfg simdevice.Config, recorder agent.Recorder) *simlab.Bench {
	t.Helper()
	return newBenchWith(t, cfg, recorder, func(r collectors.Roots) []collectors.Collector {
		return []collectors.Collector{collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewFirmwareAttributes(r)}
	})
}

// newBenchWith is newBench with other sensors.
func newBenchWith(t *testing.T, cfg simdevice.Config, recorder agent.Recorder, from func(collectors.Roots) []collectors.Collector) *simlab.Bench {
	t.Helper()
	tree, err := simdevice.MakeTempDir("simlab")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(tree) })
	cfg.StartOnMains, cfg.ChargerW = true, 100
	b, err := simlab.New(tree, cfg, simlab.Options{Recorder: recorder, Start: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), Seed: 3, Collectors: from})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// The supplies alternate from pass to pass, the first block on mains, so that a
// drift over the day meets both alike (ABBA order; common practice, no source).
func TestADaysSupplies(t *testing.T) {
	b := newBench(t, simdevice.UnitOak(), newStore(t))
	var onMains []bool
	day := simlab.Day{Settings: []float64{15}, Passes: 3, Seed: 1,
		Plays: []simlab.Play{{Workload: simdevice.HarbourFlight(), For: 10 * time.Second}},
		Done:  func(int) { onMains = append(onMains, b.Device.Truth().OnMains) }}
	if err := day.Play(b); err != nil {
		t.Fatal(err)
	}
	if want := []bool{true, false, false, true, true, false}; !slices.Equal(onMains, want) {
		t.Errorf("runs on mains: %v, want %v", onMains, want)
	}
}

// fullDisk is a store that takes no run after the first.
type fullDisk struct {
	agent.Recorder
	begun int
}

var errFull = errors.New("no space left")

func (f *fullDisk) BeginRun(ctx context.Context, d run.Record) error {
	if f.begun++; f.begun > 1 {
		return errFull
	}
	return f.Recorder.BeginRun(ctx, d)
}

// A run that fails ends the day, and the error says which one it was.
func TestAFailedRunEndsTheDay(t *testing.T) {
	disk := &fullDisk{Recorder: newStore(t)}
	b := newBench(t, simdevice.UnitOak(), disk)
	done := 0
	day := simlab.Day{Settings: []float64{15}, Passes: 2, Seed: 1, Done: func(runs int) { done = runs },
		Plays: []simlab.Play{{Workload: simdevice.HarbourFlight(), For: 10 * time.Second}}}
	err := day.Play(b)
	if !errors.Is(err, errFull) || !strings.HasPrefix(err.Error(), "harbour-flight at 15 W: ") {
		t.Errorf("error %v, want that of the store, of harbour-flight at 15 W", err)
	}
	if done != 1 || disk.begun != 2 {
		t.Errorf("%d runs were done and %d begun, want 1 and 2", done, disk.begun)
	}
}
