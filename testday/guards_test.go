package testday

import (
	"errors"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// Positions in the sweeps of guardedSensors.
const (
	gPackage = iota
	gCore0
	gZone
	gGraphics
	gDrive
	gCharge
	gDirection
	gPack
	gOnline
	gWatts
	gSensors
)

var guardedSensors = []run.Sensor{
	gPackage:   {ID: run.Temperature, Instance: "coretemp/Package id 0"},
	gCore0:     {ID: run.Temperature, Instance: "coretemp/Core 0"},
	gZone:      {ID: run.Temperature, Instance: "acpitz"},
	gGraphics:  {ID: run.Temperature, Instance: "gpu/edge", Source: "/sys/class/drm/card0/device/hwmon/hwmon3/temp1_input"},
	gDrive:     {ID: run.Temperature, Instance: "nvme/Composite"},
	gCharge:    {ID: run.BatteryCharge, Instance: "BAT0"},
	gDirection: {ID: run.BatteryDirection, Instance: "BAT0"},
	gPack:      {ID: run.Temperature, Instance: "BAT0"},
	gOnline:    {ID: run.SupplyOnline, Instance: "ADP0"},
	gWatts:     {ID: run.PackagePower, Instance: "package-0"},
}

// guardedValues are those of a device on mains that is well; what nobody guards by itself
// is missing.
func guardedValues() []float64 {
	return []float64{gPackage: 70, gCore0: 69, gZone: 40, gGraphics: 68, gDrive: 50, gCharge: 0.8, gDirection: 0, gPack: 30, gOnline: 1, gWatts: 15}
}

// statedLimits are the drivers' limits of guardedSensors.
func statedLimits(i int) float64 {
	switch i {
	case gPackage, gCore0:
		return 100
	case gDrive:
		return 84.85
	}
	return math.NaN()
}

// guarded is guards in a bubble of time, and sweeps for them.
type guarded struct {
	*Guards
	index  judge.SensorIndex
	values []float64
	start  time.Time
	slept  atomic.Int64 // ns
	trips  chan Tripped
	told   int // calls of changed
}

func newGuarded(l GuardLimits) *guarded {
	w := &guarded{index: judge.NewSensorIndex(guardedSensors), values: guardedValues(), start: time.Now(), trips: make(chan Tripped, 9)}
	w.Guards = NewGuards(GuardOptions{Limits: l, HotLimit: statedLimits, Now: w.now})
	w.Notify(func() { w.told++ })
	return w
}

func (w *guarded) now() run.Instant {
	passed, slept := time.Since(w.start), time.Duration(w.slept.Load())
	return run.Instant{Wall: time.Now(), Mono: time.Hour + passed - slept, Boot: time.Hour + passed}
}

func (w *guarded) sweep() {
	w.Observe(w.now(), guardedSensors, w.values, run.Labels{Supply: w.index.Supply(w.values)})
}

func (w *guarded) arm() error {
	w.sweep()
	return w.Arm(func(t Tripped) { w.trips <- t })
}

// sleeps has the machine sleep while timers go on.
func (w *guarded) sleeps(d time.Duration) {
	w.slept.Add(int64(d)) // first, for they ring before it is over
	time.Sleep(d)
}

// pass sweeps each quarter of a second for d, and gives what tripped and when.
func (w *guarded) pass(d time.Duration, each func(passed time.Duration)) (t *Tripped, after time.Duration) {
	for passed := time.Duration(0); passed <= d; passed += 250 * time.Millisecond {
		if each != nil {
			each(passed)
		}
		w.sweep()
		synctest.Wait()
		select {
		case t := <-w.trips:
			return &t, passed
		default:
		}
		time.Sleep(250 * time.Millisecond)
	}
	return nil, 0
}

// Each guard trips at what it is for, in time, and says the number and the limit; and at
// nothing else.
func TestGuards(t *testing.T) {
	nan := math.NaN()
	sets := func(i int, v float64) func(*guarded, time.Duration) {
		return func(w *guarded, _ time.Duration) { w.values[i] = v }
	}
	blink := func(i int, v float64, from, to time.Duration) func(*guarded, time.Duration) {
		before := guardedValues()[i]
		return func(w *guarded, p time.Duration) {
			if w.values[i] = before; p >= from && p < to {
				w.values[i] = v
			}
		}
	}
	for name, c := range map[string]struct {
		limits GuardLimits
		before func(*guarded) // armed
		each   func(*guarded, time.Duration)
		guard  string        // that trips; "" none within a minute
		within time.Duration // from the beginning
		says   string
	}{
		"all is well":                               {},
		"just below the limit":                      {each: sets(gPackage, 94.9)},
		"a hot processor":                           {each: sets(gPackage, 95), guard: "temperature", says: "coretemp/Package id 0 is at 95.0 °C, and its limit is 95 °C"},
		"one sweep that jumps, and back":            {each: blink(gPackage, 200, time.Second, 1250*time.Millisecond), guard: "temperature", within: time.Second, says: "200.0 °C"},
		"the user's own limit":                      {limits: GuardLimits{Temperature: 75}, each: sets(gCore0, 75.5), guard: "temperature", says: "limit is 75 °C"},
		"never above what the driver states":        {limits: GuardLimits{Temperature: 110}, each: sets(gPackage, 100), guard: "temperature", says: "limit is 100 °C, as its driver states"},
		"a hot graphics processor":                  {each: sets(gGraphics, 96), guard: "temperature", says: "gpu/edge"},
		"a hot drive, by its own limit":             {each: sets(gDrive, 84.9), guard: "temperature", says: "nvme/Composite is at 84.9 °C, and its limit is 84.85 °C, as its driver states"},
		"something else without a limit":            {each: sets(gZone, 120)},
		"a battery at its reserve":                  {each: sets(gCharge, 0.1)},
		"a battery below its reserve":               {each: sets(gCharge, 0.099), guard: "reserve", says: "9.9 %, below the reserve of 10 %"},
		"the user's own reserve":                    {limits: GuardLimits{Reserve: 0.3}, each: sets(gCharge, 0.29), guard: "reserve", says: "30 %"},
		"an empty battery that is charged":          {each: func(w *guarded, _ time.Duration) { w.values[gCharge], w.values[gDirection] = 0.05, -1 }},
		"an empty battery that drains on mains":     {each: func(w *guarded, _ time.Duration) { w.values[gCharge], w.values[gDirection] = 0.05, 1 }, guard: "reserve"},
		"a hot battery":                             {each: sets(gPack, 45.1), guard: "battery_temperature", says: "battery BAT0 is at 45.1 °C (allowed: 0 to 45 °C)"},
		"a cold battery":                            {each: sets(gPack, -0.5), guard: "battery_temperature", says: "-0.5 °C"},
		"the user's own range":                      {limits: GuardLimits{BatteryTemperature: [2]float64{10, 40}}, each: sets(gPack, 41), guard: "battery_temperature", says: "10 to 40 °C"},
		"a processor's sensor that vanishes":        {each: sets(gPackage, nan), guard: "sensor", within: time.Second, says: "temperature_celsius of coretemp/Package id 0"},
		"it is back in time":                        {each: blink(gPackage, nan, time.Second, 2*time.Second)},
		"it may be gone for longer":                 {limits: GuardLimits{SensorGone: 4 * time.Second}, each: blink(gPackage, nan, time.Second, 4*time.Second)},
		"the battery's charge vanishes":             {each: sets(gCharge, nan), guard: "sensor", within: time.Second, says: "battery_charge_ratio of BAT0"},
		"the battery's temperature vanishes":        {each: sets(gPack, nan), guard: "sensor", within: time.Second, says: "temperature_celsius of BAT0"},
		"the adapter vanishes":                      {each: sets(gOnline, nan), guard: "sensor", within: time.Second, says: "supply_online of ADP0"},
		"a core is switched off":                    {each: sets(gCore0, nan)},
		"the graphics processor sleeps":             {each: sets(gGraphics, nan)},
		"a drive is pulled":                         {each: sets(gDrive, nan)},
		"a temperature that stands still":           {each: sets(gWatts, 28), guard: "sensor", within: 40 * time.Second, says: "stands still (coretemp/Package id 0 at 70.0 °C) although its package went from 15 W to 28 W"},
		"all stands still":                          {},
		"the plug is pulled while nobody needs it":  {each: sets(gOnline, 0)},
		"the plug is pulled":                        {before: func(w *guarded) { w.Expect(run.Mains) }, each: sets(gOnline, 0), guard: "supply", within: time.Second, says: "this run needs mains"},
		"the plug is pulled, as the battery agrees": {before: func(w *guarded) { w.Expect(run.Mains) }, each: func(w *guarded, _ time.Duration) { w.values[gOnline], w.values[gDirection] = 0, 1 }, guard: "supply"},
		"the adapter blinks":                        {before: func(w *guarded) { w.Expect(run.Mains) }, each: blink(gOnline, 0, time.Second, 2*time.Second)},
		"plugged where a battery is expected":       {before: func(w *guarded) { w.Expect(run.Battery) }},
		"a runner that is silent":                   {before: func(w *guarded) { w.RunnerBusy(true) }, guard: "runner", within: 5250 * time.Millisecond, says: "not heard of for 5.2 s (allowed: 5 s)"},
		"a runner that is heard of": {before: func(w *guarded) { w.RunnerBusy(true) }, each: func(w *guarded, p time.Duration) {
			if p%(5*time.Second) == 0 {
				w.Heard()
			}
		}},
		"a runner that has nothing to do": {before: func(w *guarded) { w.RunnerBusy(true); w.RunnerBusy(false) }},
		"after a suspend sensors and the runner may take their time": {before: func(w *guarded) { w.RunnerBusy(true) }, each: func(w *guarded, p time.Duration) {
			w.values[gCharge] = 0.8
			switch {
			case p == 2*time.Second:
				w.sleeps(8 * time.Hour)
				fallthrough
			case p > 2*time.Second && p < 5*time.Second:
				w.values[gCharge] = nan
			}
			if p%time.Second == 0 && p != 2*time.Second {
				w.Heard()
			}
		}},
		"after a suspend a sensor does not come back": {each: func(w *guarded, p time.Duration) {
			if p == time.Second {
				w.sleeps(time.Hour)
				w.values[gCharge] = nan
			}
		}, guard: "sensor", within: 5 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := newGuarded(c.limits)
				if err := w.arm(); err != nil {
					t.Fatal(err)
				}
				defer w.Disarm()
				if c.before != nil {
					c.before(w)
				}
				tripped, after := w.pass(time.Minute, func(p time.Duration) {
					if c.each != nil {
						c.each(w, p)
					}
				})
				if tripped == nil {
					tripped = &Tripped{}
				}
				if tripped.Guard != c.guard || after > c.within || !strings.Contains(tripped.Text, c.says) {
					t.Fatalf("after %v guard %q: %s; want %q within %v saying %q", after, tripped.Guard, tripped.Text, c.guard, c.within, c.says)
				}
				if c.guard != "" && (tripped.At.Mono == 0 || w.Every() != 0) {
					t.Errorf("at %v, still wants a sweep each %v", tripped.At, w.Every())
				}
				if waits := c.guard == "supply" || c.guard == "reserve" || c.guard == "runner"; tripped.Waits != waits {
					t.Errorf("needs nobody to go on: %v", tripped.Waits)
				}
				if ends := c.guard == "battery_temperature" && strings.Contains(tripped.Text, "cool"); tripped.Ends != ends {
					t.Errorf("ends the day: %v", tripped.Ends)
				}
			})
		})
	}
}

// Sweeps that do not come trip by a timer of the guards' own; a machine that sleeps sweeps
// nothing and trips nothing, also where timers go on meanwhile.
func TestGuardsMissSweeps(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newGuarded(GuardLimits{})
		if err := w.arm(); err != nil {
			t.Fatal(err)
		}
		if tripped, _ := w.pass(20*time.Second, nil); tripped != nil {
			t.Fatalf("%+v", tripped)
		}
		w.sleeps(8 * time.Hour)
		if tripped, _ := w.pass(time.Second, nil); tripped != nil {
			t.Fatalf("a suspend trips: %+v", tripped)
		}
		last := time.Now()
		tripped := <-w.trips
		if late := time.Since(last); tripped.Guard != "sweeps" || late > sweepsLate || !strings.Contains(tripped.Text, "for 3.0 s (allowed: 3 s)") {
			t.Errorf("after %v %+v", late, tripped)
		}
		time.Sleep(time.Minute)
		if len(w.trips) != 0 {
			t.Error("it trips twice")
		}
	})
}

// They trip once and are disarmed; armed again they trip again; armed twice they go on.
func TestGuardsAreArmedAndDisarmed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newGuarded(GuardLimits{})
		if w.Every() != 0 {
			t.Error("they want sweeps before anybody relies on them")
		}
		if err := w.Arm(func(Tripped) {}); err == nil || !strings.Contains(err.Error(), "no sensor was read yet") {
			t.Errorf("before the first sweep: %v", err)
		}
		w.values[gPackage] = 99
		var now *TrippedError
		if err := w.arm(); !errors.As(err, &now) || now.Guard != "temperature" || w.Every() != 0 {
			t.Fatalf("armed where it would trip at once: %v, a sweep each %v", err, w.Every())
		}
		w.values[gPackage] = 50
		if err := w.arm(); err != nil || w.told != 1 || w.Every() <= 0 || w.Every() > time.Second {
			t.Fatalf("armed with %v, told %d times, a sweep each %v", err, w.told, w.Every())
		}
		w.values[gCharge] = 0.01
		w.sweep()
		w.sweep()
		synctest.Wait()
		if len(w.trips) != 1 || w.told != 2 || w.Every() != 0 {
			t.Fatalf("%d trips, told %d times, a sweep each %v", len(w.trips), w.told, w.Every())
		}
		<-w.trips
		w.values = guardedValues()
		for range 2 {
			if err := w.arm(); err != nil {
				t.Fatal(err)
			}
		}
		w.Disarm()
		w.Disarm()
		w.values[gPackage] = 99
		if tripped, _ := w.pass(5*time.Second, nil); tripped != nil || w.told != 4 {
			t.Errorf("disarmed: %+v, told %d times", tripped, w.told)
		}
		w.values = guardedValues()
		if err := w.arm(); err != nil {
			t.Fatal(err)
		}
		w.values[gPackage] = 99
		if tripped, after := w.pass(5*time.Second, nil); tripped == nil || after != 0 {
			t.Errorf("armed again: %+v after %v", tripped, after)
		}
	})
}

// What cannot be guarded is said before anything is set.
func TestGuardsThatCannotBeArmed(t *testing.T) {
	nan := math.NaN()
	temperatures := []int{gPackage, gCore0, gZone, gGraphics, gDrive}
	missing := func(positions ...int) []float64 {
		v := guardedValues()
		for _, i := range positions {
			v[i] = nan
		}
		return v
	}
	for name, c := range map[string]struct {
		values []float64
		says   string
	}{
		"no temperature":                      {missing(temperatures...), "no temperature of this device can be read"},
		"a battery's alone is none":           {missing(temperatures...), "`sweepd sensors` says"},
		"a battery that does not say":         {missing(gCharge), "battery BAT0 does not say how full it is"},
		"no battery":                          {missing(gCharge, gDirection, gPack), ""},
		"cores alone":                         {missing(gPackage, gZone), ""},
		"one that nobody knows by its name":   {missing(gPackage, gCore0, gGraphics, gDrive), ""},
		"no adapter, and a drive that sleeps": {missing(gOnline, gDrive), ""},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := newGuarded(GuardLimits{})
				w.values = c.values
				err := w.arm()
				defer w.Disarm()
				if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says) || w.Every() != 0) {
					t.Fatalf("error %v, want %q", err, c.says)
				}
				if err != nil {
					return
				}
				// What it is guarded by then has to stay.
				for _, i := range temperatures {
					w.values[i] = nan
				}
				if tripped, _ := w.pass(5*time.Second, nil); tripped == nil || tripped.Guard != "sensor" {
					t.Errorf("without any temperature %+v", tripped)
				}
			})
		})
	}
}

// While nobody relies on the guards, and while somebody does, a sweep costs no memory.
func TestGuardsDoNotAllocate(t *testing.T) {
	w := newGuarded(GuardLimits{})
	w.sweep()
	sweep := w.sweep
	if n := testing.AllocsPerRun(100, sweep); n != 0 {
		t.Errorf("disarmed: %v allocations a sweep", n)
	}
	if err := w.arm(); err != nil {
		t.Fatal(err)
	}
	defer w.Disarm()
	if n := testing.AllocsPerRun(100, sweep); n != 0 {
		t.Errorf("armed: %v allocations a sweep", n)
	}
}
