package judge

import (
	"testing"

	"sweepd/run"
)

// What the system reports is the limit of the source that is trusted most, unless that
// is silent or has no limit (0), else the profile.
func TestSettingRead(t *testing.T) {
	index := NewSensorIndex([]run.Sensor{{ID: run.PowerLimit, Instance: run.LimitGPU}, {ID: run.PowerLimit, Instance: run.LimitFirmware},
		{ID: run.PowerLimit, Instance: run.LimitPowercap}, {ID: run.PlatformProfile}})
	for _, c := range []struct {
		values []float64
		want   run.SourcedSetting
	}{
		{[]float64{30, 25, 28, 3}, run.Watts(25).From(run.Firmware)},
		{[]float64{30, 0, 28, 3}, run.Watts(28).From(run.Powercap)},
		{[]float64{30, nan, nan, 3}, run.Watts(30).From(run.GPU)},
		{[]float64{0, 0, nan, 3}, run.Named("balanced").From(run.Profile)},
		{[]float64{nan, nan, nan, 0}, run.Named("low-power").From(run.Profile)},
		{[]float64{nan, nan, nan, 99}, run.SourcedSetting{}},
		{[]float64{nan, nan, nan, -1}, run.SourcedSetting{}},
		{[]float64{nan, 25}, run.Watts(25).From(run.Firmware)},
		{nil, run.SourcedSetting{}},
	} {
		if got := index.SettingRead(c.values); got != c.want {
			t.Errorf("%v: %v from %q, want %v from %q", c.values, got, got.Source, c.want, c.want.Source)
		}
	}
}

// The supply is told by the adapters, of which one that feeds is enough; by the
// batteries where these are silent; and a machine without a battery is on mains.
func TestSupply(t *testing.T) {
	index := NewSensorIndex([]run.Sensor{{ID: run.SupplyOnline, Instance: "ADP0"}, {ID: run.SupplyOnline, Instance: "USB"},
		{ID: run.BatteryDirection, Instance: "BAT0"}, {ID: run.BatteryDirection, Instance: "BAT1"}})
	for _, c := range []struct {
		values []float64
		want   run.Supply
		moves  float64
	}{
		{[]float64{0, 1, 1, 0}, run.Mains, 1}, {[]float64{0, 0, -1, 0}, run.Battery, -1}, {[]float64{0, nan, 0, 0}, run.Battery, 0},
		{[]float64{nan, nan, 0, 1}, run.Battery, 1}, {[]float64{nan, nan, nan, -1}, run.Mains, -1}, {[]float64{nan, nan, 0, -1}, run.Mains, -1},
		{[]float64{nan, nan, -1, 0}, run.Mains, -1}, {[]float64{nan, nan, nan, nan}, run.SupplyUnknown, nan},
	} {
		if got := index.Supply(c.values); got != c.want {
			t.Errorf("%v: on %q, want %q", c.values, got, c.want)
		}
		if got := index.direction(c.values); got != c.moves && !(got != got && c.moves != c.moves) {
			t.Errorf("%v: the batteries move %v, want %v", c.values, got, c.moves)
		}
	}
	plugged := NewSensorIndex([]run.Sensor{{ID: run.Temperature}})
	if got := plugged.Supply([]float64{40}); got != run.Mains {
		t.Errorf("without a battery: on %q", got)
	}
}

// Charges are averaged; powers are added up, but for a battery that was pulled; and a
// sum of which a part is missing is missing.
func TestSeveralBatteriesAndPackages(t *testing.T) {
	index := NewSensorIndex([]run.Sensor{
		{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.BatteryDirection, Instance: "BAT0"}, {ID: run.BatteryCharge, Instance: "BAT0"},
		{ID: run.BatteryPower, Instance: "BAT1"}, {ID: run.BatteryDirection, Instance: "BAT1"}, {ID: run.BatteryCharge, Instance: "BAT1"},
		{ID: run.PackagePower, Instance: "package-0"}, {ID: run.PackagePower, Instance: "package-1"}, {ID: run.PackagePower, Instance: "gpu"},
		{ID: run.PackageEnergy, Instance: "package-0"}, {ID: run.PackageEnergy, Instance: "package-1"},
	})
	for _, c := range []struct {
		values                  []float64
		discharge, charge, sums float64
	}{
		{[]float64{8, 1, 0.8, 4, 1, 0.6, 10, 5, 14}, 12, 0.7, 15},
		{[]float64{8, 1, 0.8, nan, 0, 0.6, 10, nan, 14}, 8, 0.7, nan},
		{[]float64{8, 1, 0.8, nan, 1, nan, 10, 5, 14}, nan, 0.8, 15},
		{[]float64{8, 1, 0.8, nan, nan, nan}, 8, 0.8, nan},
		{nil, nan, nan, nan},
	} {
		for what, pair := range map[string][2]float64{"discharge": {index.Discharge(c.values), c.discharge},
			"charge": {index.Charge(c.values), c.charge}, "package power": {Sum(c.values, index.PackagePower), c.sums}} {
			if got, want := pair[0], pair[1]; got != want && !(got != got && want != want) {
				t.Errorf("%v: %s %v, want %v", c.values, what, got, want)
			}
		}
	}
}
