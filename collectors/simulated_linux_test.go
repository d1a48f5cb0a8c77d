package collectors_test

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/run"
)

// simulated is a device with known truth and the Set that reads its tree.
type simulated struct {
	*testing.T
	device *simdevice.Device
	set    *collectors.Set
	now    time.Duration
	errs   []error
}

const simulatedStep = 250 * time.Millisecond

func simulate(t *testing.T, cfg simdevice.Config) *simulated {
	t.Helper()
	dir, err := simdevice.MakeTempDir("collectors")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	device, err := simdevice.New(dir, cfg, time.Date(2026, 11, 24, 9, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = device.Close() })
	roots := collectors.Roots{Sys: filepath.Join(dir, "sys"), Proc: filepath.Join(dir, "proc")}
	s := &simulated{T: t, device: device}
	s.set = collectors.NewSet(collectors.SetOptions{
		OnError:  func(_ string, _ run.Sensor, err error) { s.errs = append(s.errs, err) },
		Elapsed:  func() time.Duration { return s.now },
		Patience: time.Minute,
	}, collectors.NewPowerSupply(roots), collectors.NewPowercap(roots), collectors.NewFirmwareAttributes(roots),
		collectors.NewPlatformProfile(roots), collectors.NewHwmon(roots), collectors.NewThermal(roots), collectors.NewDRM(roots))
	t.Cleanup(func() {
		if err := s.set.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// step lets the device live on for a moment and sweeps.
func (s *simulated) step() []float64 {
	s.Helper()
	s.device.Advance(simulatedStep)
	if err := s.device.Flush(); err != nil {
		s.Fatal(err)
	}
	s.now += simulatedStep
	s.set.ReadSlow(s.now)
	return s.set.Sweep(s.now)
}

func (s *simulated) at(id, instance string) int {
	s.Helper()
	for i, sensor := range s.set.Sensors() {
		if sensor.ID == id && sensor.Instance == instance {
			return i
		}
	}
	s.Fatalf("no sensor %s %q", id, instance)
	return 0
}

func (s *simulated) near(what string, got, want, relative float64) {
	s.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		s.Errorf("%s: %.6g, the truth is %.6g", what, got, want)
	}
}

// Five minutes on battery: what the collectors read is what the model knows,
// whether its battery counts energy or charge and whatever the sign.
func TestSimulatedDischarge(t *testing.T) {
	for name, battery := range map[string]simdevice.BatteryConfig{
		"energy":                      {GaugeNoise: -1},
		"energy, negative rate":       {GaugeNoise: -1, Negative: true},
		"charge":                      {GaugeNoise: -1, ReportsCharge: true},
		"charge, negative rate":       {GaugeNoise: -1, ReportsCharge: true, Negative: true},
		"charge, refreshed every 4 s": {GaugeNoise: -1, ReportsCharge: true, Refresh: 4 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := simdevice.UnitOak()
			cfg.Batteries = []simdevice.BatteryConfig{battery}
			cfg.WrapMicroJ = 2_000_000_000 // wraps about every two minutes
			cfg.PowercapZone = 10
			cfg.Peripheral = true
			s := simulate(t, cfg)
			s.device.SetLimit(15)
			s.device.StartWorkload(simdevice.HarbourFlight())
			power, energy := s.at(run.BatteryPower, "BAT0"), s.at(run.BatteryEnergy, "BAT0")
			direction, content := s.at(run.BatteryDirection, "BAT0"), s.at(run.BatteryCharge, "BAT0")
			pack := s.at(run.PackageEnergy, "package-0")
			for range 40 { // let the running mean of the limit settle
				s.step()
			}
			before, first := s.device.Truth(), append([]float64(nil), s.set.Sweep(s.now)...)
			sum, n := 0.0, 0
			var values []float64
			for range 1200 {
				values = s.step()
				sum += values[power]
				n++
			}
			truth := simdevice.Between(before, s.device.Truth())
			s.near("mean power, W", sum/float64(n), truth.DischargeW, 0.01)
			s.near("fall of the energy, J", first[energy]-values[energy], truth.DischargeW*truth.Seconds, 0.01)
			s.near("package energy, J", values[pack]-first[pack], truth.PackageW*truth.Seconds, 1e-8)
			share := values[content]
			if battery.ReportsCharge {
				// The share of the charge is not that of the energy. Empty the
				// battery has 10.8 V, full 12.9 V, and in between a straight
				// line, so that the energy is its integral over the charge.
				share = (10.8*share + (12.9-10.8)/2*share*share) / ((10.8 + 12.9) / 2)
			}
			s.near("charge", share, s.device.Truth().ChargeRatio, 0.001)
			if values[direction] != 1 || values[s.at(run.SupplyOnline, "ADP0")] != 0 {
				t.Errorf("direction %v, online %v, want discharging on battery", values[direction], values[s.at(run.SupplyOnline, "ADP0")])
			}
			s.near("firmware limit, W", values[s.at(run.PowerLimit, run.LimitFirmware)], 15, 0)
			s.near("powercap limit, W", values[s.at(run.PowerLimit, run.LimitPowercap)], 15, 0)
			if len(s.errs) > 0 {
				t.Errorf("errors %v", s.errs)
			}
		})
	}
}

// Plugged in, the battery charges and the supply says so.
func TestSimulatedCharging(t *testing.T) {
	cfg := simdevice.UnitElm()
	cfg.Batteries = []simdevice.BatteryConfig{{Charge: 0.5, GaugeNoise: -1}}
	cfg.Supply = simdevice.SupplyBoth
	s := simulate(t, cfg)
	s.device.Plug()
	var values []float64
	for range 40 {
		values = s.step()
	}
	if values[s.at(run.BatteryDirection, "BAT0")] != -1 {
		t.Error("not charging")
	}
	s.near("power, W", values[s.at(run.BatteryPower, "BAT0")], s.device.Truth().DischargeW, 0.02)
	for _, supply := range []string{"ADP0", "port0-source"} {
		if values[s.at(run.SupplyOnline, supply)] != 1 {
			t.Errorf("%s is not online", supply)
		}
	}
	if got := run.USBTypes[int(values[s.at(run.SupplyUSBType, "port0-source")])]; got != "PD" {
		t.Errorf("charger %s, want PD", got)
	}
	s.near("offered, W", values[s.at(run.SupplyPowerLimit, "port0-source")], 65, 0.05) // the default of ChargerW
}

// One of two batteries is pulled and put back between two scans, and again for
// longer than that: missing, never zero, and back at its place.
func TestSimulatedBatteryPulled(t *testing.T) {
	cfg := simdevice.UnitOak()
	cfg.Batteries = []simdevice.BatteryConfig{{}, {}}
	s := simulate(t, cfg)
	energy := s.at(run.BatteryEnergy, "BAT1")
	s.step()
	whole := len(s.step())
	for _, scans := range []int{0, 2} {
		if err := s.device.PullBattery("BAT1"); err != nil {
			t.Fatal(err)
		}
		for range 8 {
			if scans > 0 {
				s.set.Rescan(s.now)
			}
			s.step()
		}
		values := s.step()
		if !math.IsNaN(values[energy]) || math.IsNaN(values[s.at(run.BatteryEnergy, "BAT0")]) {
			t.Errorf("energies %v and %v, want the pulled one missing and the other there", values[energy], values[s.at(run.BatteryEnergy, "BAT0")])
		}
		if s.set.Cause(energy) == nil {
			t.Error("nobody knows why it is missing")
		}
		if err := s.device.InsertBattery("BAT1"); err != nil {
			t.Fatal(err)
		}
		s.step()
		s.set.Rescan(s.now)
		for range 8 {
			values = s.step()
		}
		if !(values[energy] > 0) || len(values) != whole {
			t.Errorf("returned: energy %v, %d sensors of %d", values[energy], len(values), whole)
		}
	}
}
