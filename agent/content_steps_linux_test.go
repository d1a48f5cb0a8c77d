package agent_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
)

// stepGauges are gauges whose content moves in all the ways that are none of a step:
// coarse, fine, slow, averaged, noisy, without a power.
var stepGauges = []struct {
	name    string
	battery simdevice.BatteryConfig
}{
	{"usual", simdevice.BatteryConfig{}},
	{"charge", simdevice.BatteryConfig{ReportsCharge: true, Negative: true}},
	{"fine", simdevice.BatteryConfig{QuantumWh: 0.001}},
	{"0.1 Wh", simdevice.BatteryConfig{QuantumWh: 0.1}},
	{"percent", simdevice.BatteryConfig{QuantumWh: 0.486}},
	{"two percent", simdevice.BatteryConfig{QuantumWh: 0.972}},
	{"percent of charge", simdevice.BatteryConfig{QuantumWh: 0.4, ReportsCharge: true}},
	{"slow", simdevice.BatteryConfig{Refresh: 30 * time.Second}},
	{"slow, without power", simdevice.BatteryConfig{Refresh: 30 * time.Second, NoRate: true}},
	{"averaged", simdevice.BatteryConfig{GaugeTime: 30 * time.Second}},
	{"noisy", simdevice.BatteryConfig{GaugeNoise: 0.1}},
	{"without power", simdevice.BatteryConfig{NoRate: true}},
	{"percent without power", simdevice.BatteryConfig{QuantumWh: 0.486, NoRate: true}},
	{"small", simdevice.BatteryConfig{FullWh: 20}},
	{"small, percent without power", simdevice.BatteryConfig{FullWh: 20, QuantumWh: 0.2, NoRate: true}},
}

// bursts swing between nearly nothing and all the device gives.
func bursts() simdevice.Workload {
	w := simdevice.HarbourFlight()
	w.Load = simdevice.Load{Phases: []simdevice.Phase{{For: 7 * time.Second, Level: 0.05}, {For: 3 * time.Second, Level: 1}, {For: 700 * time.Millisecond, Level: 0.1}, {For: 40 * time.Second, Level: 1}}}
	return w
}

func stepBench(t *testing.T, battery simdevice.BatteryConfig, settingW float64) *simlab.Bench {
	t.Helper()
	cfg := simdevice.UnitOak()
	cfg.Batteries, cfg.StartOnMains, cfg.Without, cfg.SettingW = []simdevice.BatteryConfig{battery}, false, unused, settingW
	b := newBench(t, cfg, openStore(t))
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := b.Rest(time.Minute); err != nil {
		t.Fatal(err)
	}
	return b
}

// No gauge of any kind steps while a battery is only discharged, from idle to full load,
// steadily or in bursts.
func TestNoGaugeStepsByItself(t *testing.T) {
	for _, g := range stepGauges {
		t.Run(g.name, func(t *testing.T) {
			t.Parallel()
			for _, setting := range []float64{8, 35, 54} {
				for _, w := range []simdevice.Workload{simdevice.HarbourFlight(), bursts()} {
					d, truth, err := stepBench(t, g.battery, setting).Play(w, run.Start{}, 150*time.Second)
					if err != nil {
						t.Fatal(err)
					}
					if f, found := finding(d, run.ContentStep); found {
						t.Errorf("%v W, %d phases, of which %.1f W left it: %s", setting, len(w.Load.Phases), truth.DischargeW, f.Text)
					}
				}
			}
		})
	}
}

// Whatever the gauge, a content that steps by a quarter of the battery, or by a tenth
// upwards, is found, and the run's discharge is right or unknown.
func TestContentStepsOfEveryGauge(t *testing.T) {
	for _, g := range stepGauges {
		t.Run(g.name, func(t *testing.T) {
			t.Parallel()
			for _, step := range []float64{-0.25, 0.1} {
				b := stepBench(t, g.battery, 15)
				if _, err := b.Start(run.Start{Workload: "harbour-flight"}); err != nil {
					t.Fatal(err)
				}
				before := b.Device.Truth()
				b.Device.StartWorkload(simdevice.HarbourFlight())
				pass(t, b, 75*time.Second)
				b.Device.SetCharge(b.Device.Truth().ChargeRatio + step)
				pass(t, b, 75*time.Second)
				truth := simdevice.Between(before, b.Device.Truth())
				d, err := b.Stop(run.Stop{})
				if err != nil {
					t.Fatal(err)
				}
				f, found := finding(d, run.ContentStep)
				if !found {
					t.Errorf("a step of %v: no finding", step)
				}
				t.Logf("step %v: discharge %s of %.2f W; %s", step, show(d.Discharge.Watts), truth.DischargeW, f.Text)
				if w := d.Discharge.Watts; w != nil && math.Abs(*w-truth.DischargeW) > math.Max(0.03*truth.DischargeW, *d.Discharge.UncertaintyWatts) {
					t.Errorf("a step of %v: discharge %.2f W, truth %.2f W", step, *w, truth.DischargeW)
				}
			}
		})
	}
}

func pass(t *testing.T, b *simlab.Bench, d time.Duration) {
	t.Helper()
	if err := b.Pass(d); err != nil {
		t.Fatal(err)
	}
}

func finding(d run.Record, code run.Code) (run.Finding, bool) {
	i := slices.IndexFunc(d.Findings, func(f run.Finding) bool { return f.Code == code })
	if i < 0 {
		return run.Finding{}, false
	}
	return d.Findings[i], true
}
