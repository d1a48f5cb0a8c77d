package simlab_test

import (
	"math"
	"os"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
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
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	tree, err := simdevice.MakeTempDir("simlab")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(tree)
	cfg.StartOnMains, cfg.ChargerW = true, 100
	b, err := simlab.New(tree, cfg, simlab.Options{Recorder: s, Start: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), Seed: 3,
		Collectors: func(r collectors.Roots) []collectors.Collector {
			return []collectors.Collector{collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewFirmwareAttributes(r)}
		}})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
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
