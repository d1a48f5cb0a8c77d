package agent

import (
	"math"
	"time"

	"sweepd/run"
)

// script is a trace written by hand: a sweep every interval, whose values a
// function of the time since the start gives.
type script struct {
	sensors []run.Sensor
	sweeps  []run.Sweep
	lost    []run.Loss
}

func (s *script) Sensors() []run.Sensor { return s.sensors }
func (s *script) Lost() []run.Loss      { return s.lost }

func (s *script) Each(f func(run.Sweep) error) error {
	for _, sweep := range s.sweeps {
		if err := f(sweep); err != nil {
			return err
		}
	}
	return nil
}

var nan = math.NaN()

// start is an arbitrary moment.
var start = run.Instant{Wall: time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC), Mono: 1000 * time.Second, Boot: 1400 * time.Second}

func after(i run.Instant, d time.Duration) run.Instant {
	return run.Instant{Wall: i.Wall.Add(d), Mono: i.Mono + d, Boot: i.Boot + d}
}

// The scripted machine: one battery, one adapter, one package, one limit.
var scriptSensors = []run.Sensor{
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

// state is what the scripted machine shows at one moment.
type state struct {
	online, power, energy, direction, joules, watts, limit, profile float64
	charge, celsius, throttles, hertz, busy                         float64
	setting                                                         run.SourcedSetting
}

func (x state) values() []float64 {
	return []float64{x.online, x.power, x.energy, x.direction, x.joules, x.watts, x.limit, x.profile, x.charge, x.celsius, x.throttles, x.hertz, x.busy}
}

// onBattery draws 20 W in all and 14.5 W in the package, at a declared 15 W.
func onBattery(t time.Duration) state {
	whole := math.Floor(t.Seconds())
	return state{online: 0, power: 20, energy: 180000 - 20*whole, direction: 1, joules: 14.5 * t.Seconds(), watts: 14.5, limit: 15, profile: 3, setting: watts(15),
		charge: 0.8, celsius: 60, hertz: 3e9, busy: 0.05}
}

// onMains is the same work with the battery at rest.
func onMains(t time.Duration) state {
	s := onBattery(t)
	s.online, s.power, s.energy, s.direction = 1, 0, 180000, 0
	return s
}

func watts(w float64) run.SourcedSetting { return run.Watts(w).From(run.Declared) }

// play makes a trace of f over d, with a sweep every 250 ms.
func play(d time.Duration, f func(t time.Duration) state) *script {
	s := &script{sensors: scriptSensors}
	v := newView(scriptSensors)
	for t := time.Duration(0); t <= d; t += DefaultInterval {
		x := f(t)
		values := x.values()
		s.sweeps = append(s.sweeps, run.Sweep{At: after(start, t), Values: values, Setting: x.setting, Supply: v.supply(values)})
	}
	return s
}

// judged is the run of a script that ended well with a result.
func judged(s *script) (run.Record, error) {
	d := run.Record{Run: run.Run{ID: "0197a3c2-0000-7000-8000-0000deadbeef", State: run.Finished}}
	d.Results = map[string]run.Result{"score": {Value: 100, Better: run.Higher}}
	d.Setting, d.Supply = s.sweeps[0].Setting, s.sweeps[0].Supply
	length := (s.sweeps[len(s.sweeps)-1].At.Mono - s.sweeps[0].At.Mono).Seconds()
	d.DurationS = &length
	return Judge(d, s, Thresholds{})
}
