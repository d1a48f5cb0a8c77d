// Package scripted is a machine whose sensors show what a test writes down, and the
// traces of runs on it.
package scripted

import (
	"math"
	"time"

	"sweepd/run"
)

// Trace is a trace in memory.
type Trace struct {
	Of      []run.Sensor
	Sweeps  []run.Sweep
	Missing []run.Loss
}

// Sensors, Each and Lost are those of run.Trace.
func (s *Trace) Sensors() []run.Sensor { return s.Of }
func (s *Trace) Lost() []run.Loss      { return s.Missing }

func (s *Trace) Each(f func(run.Sweep) error) error {
	for _, sweep := range s.Sweeps {
		if err := f(sweep); err != nil {
			return err
		}
	}
	return nil
}

// Start is an arbitrary moment.
var Start = run.Instant{Wall: time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC), Mono: 1000 * time.Second, Boot: 1400 * time.Second}

// After is d later on all three clocks.
func After(i run.Instant, d time.Duration) run.Instant {
	return run.Instant{Wall: i.Wall.Add(d), Mono: i.Mono + d, Boot: i.Boot + d}
}

// Sensors of the scripted machine: one battery, one adapter, one package, one limit.
var Sensors = []run.Sensor{
	{ID: run.SupplyOnline, Instance: "ADP0"},
	{ID: run.BatteryPower, Instance: "BAT0", Unit: "watts", Resolution: 1e-6},
	{ID: run.BatteryEnergy, Instance: "BAT0", Unit: "joules", Resolution: 3.6e-3},
	{ID: run.BatteryDirection, Instance: "BAT0"},
	{ID: run.PackageEnergy, Instance: "package-0", Unit: "joules", Kind: run.Counter, Resolution: 1e-6},
	{ID: run.PackagePower, Instance: "package-0", Unit: "watts", Resolution: 1e-6},
	{ID: run.PowerLimit, Instance: run.LimitFirmware, Unit: "watts", Resolution: 1},
	{ID: run.PlatformProfile},
	{ID: run.BatteryCharge, Instance: "BAT0", Unit: "ratio"},
	{ID: run.Temperature, Instance: "package", Unit: "celsius"},
	{ID: run.ThrottleEvents, Instance: "package", Kind: run.Counter},
	{ID: run.CPUFrequency, Instance: "policy0", Unit: "hertz"},
	{ID: run.CPUBusy, Unit: "ratio"},
}

// State is what the scripted machine shows at one moment.
type State struct {
	Online, Power, Energy, Direction, Joules, Watts, Limit, Profile float64
	Charge, Celsius, Throttles, Hertz, Busy                         float64
	Setting                                                         run.SourcedSetting
}

// Values are those of the Sensors, in their order.
func (x State) Values() []float64 {
	return []float64{x.Online, x.Power, x.Energy, x.Direction, x.Joules, x.Watts, x.Limit, x.Profile, x.Charge, x.Celsius, x.Throttles, x.Hertz, x.Busy}
}

// Supply is told by the adapter, else by the battery's direction.
func (x State) Supply() run.Supply {
	switch {
	case x.Online > 0 || math.IsNaN(x.Online) && x.Direction <= 0:
		return run.Mains
	case x.Online == 0 || x.Direction > 0:
		return run.Battery
	}
	return run.SupplyUnknown
}

// OnBattery draws 20 W in all and 14.5 W in the package, at a declared 15 W.
func OnBattery(t time.Duration) State {
	whole := math.Floor(t.Seconds())
	return State{Online: 0, Power: 20, Energy: 180000 - 20*whole, Direction: 1, Joules: 14.5 * t.Seconds(), Watts: 14.5, Limit: 15, Profile: 3, Setting: run.Watts(15).From(run.Declared),
		Charge: 0.8, Celsius: 60, Hertz: 3e9, Busy: 0.05}
}

// OnMains is the same work with the battery at rest.
func OnMains(t time.Duration) State {
	s := OnBattery(t)
	s.Online, s.Power, s.Energy, s.Direction = 1, 0, 180000, 0
	return s
}

// Interval between the sweeps of a trace.
const Interval = 250 * time.Millisecond

// Play makes a trace of f over d.
func Play(d time.Duration, f func(t time.Duration) State) *Trace {
	s := &Trace{Of: Sensors}
	for t := time.Duration(0); t <= d; t += Interval {
		x := f(t)
		s.Sweeps = append(s.Sweeps, run.Sweep{At: After(Start, t), Values: x.Values(), Setting: x.Setting, Supply: x.Supply()})
	}
	return s
}
