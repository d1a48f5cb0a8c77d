package judge

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// withFull adds the full content, by time, to a trace of the scripted machine.
func withFull(s *scripted.Trace, full func(t time.Duration) float64) *scripted.Trace {
	s.Of = append(slices.Clone(s.Of), run.Sensor{ID: run.BatteryEnergyFull, Instance: "BAT0", Unit: "joules", Resolution: 3.6e-3})
	for i := range s.Sweeps {
		s.Sweeps[i].Values = append(s.Sweeps[i].Values, full(s.Sweeps[i].At.Mono-scripted.Start.Mono))
	}
	return s
}

const full486 = 48.6 * joulesPerWh

func steady(time.Duration) float64 { return full486 }

// onBattery22 draws 22 W by its power, and its content falls in whole steps of 10 mWh
// but for what is added to it at 15 s.
func onBattery22(step float64) func(time.Duration) scripted.State {
	return func(t time.Duration) scripted.State {
		s := scripted.OnBattery(t)
		const quantum = 36
		s.Power, s.Energy = 22, math.Round((0.8*full486-22*math.Floor(t.Seconds()))/quantum)*quantum
		if t >= 15*time.Second {
			s.Energy += step
		}
		return s
	}
}

// 1 Ah of this battery is 1 Ah x 11.85 V = 11.85 Wh. Gone at once in a run of 30 s at
// 22 W, it was believed to be 980 W.
func TestContentSteps(t *testing.T) {
	const ampereHour = 11.85 * joulesPerWh
	for name, c := range map[string]struct {
		step float64
		says string
	}{
		"1 Ah gone":               {-1 * ampereHour, "the content of battery BAT0 fell by 11.85 Wh within 1.0 s at 09:30:15 UTC, while 22.0 W left it by its power: it is not counted as discharge"},
		"0.3 Ah more":             {0.3 * ampereHour, "rose by 3.5"},
		"0.1 Wh, 12 W in the run": {-360, "fell by 0.10 Wh"},
		"a fine change":           {-36, ""},
	} {
		t.Run(name, func(t *testing.T) {
			var codes []run.Code
			if c.says != "" {
				codes = []run.Code{run.ContentStep}
			}
			d := wantFindings(t, withFull(scripted.Play(30*time.Second, onBattery22(c.step)), steady), codes, c.says)
			if w, u := *d.Discharge.Watts, *d.Discharge.UncertaintyWatts; math.Abs(w-22) > u || u > 1.5 {
				t.Errorf("discharge %.2f ± %.2f W, want 22", w, u)
			}
			if math.Abs(*d.Discharge.FromEnergyWatts-22) > 2 || *d.SystemW != *d.Discharge.Watts {
				t.Errorf("from energy %.2f W, system_w %.2f W", *d.Discharge.FromEnergyWatts, *d.SystemW)
			}
		})
	}
}

// A battery that tells no power is held against what it could give.
func TestContentStepsWithoutPower(t *testing.T) {
	for _, step := range []float64{-1 * 11.85 * joulesPerWh, 0.3 * 11.85 * joulesPerWh} {
		d := wantFindings(t, withFull(scripted.Play(30*time.Second, func(t time.Duration) scripted.State {
			s := onBattery22(step)(t)
			s.Power = nan
			return s
		}), steady), []run.Code{run.ContentStep}, "while no such battery can give or take so much")
		if w, u := *d.Discharge.Watts, *d.Discharge.UncertaintyWatts; math.Abs(w-22) > u || u > 3 {
			t.Errorf("a step of %v J: discharge %.2f ± %.2f W, want 22", step, w, u)
		}
	}
}

// Another battery is known by its full content. These are two moments of one battery,
// in the capture of references H1: 49.45 of 50.06 Wh at 4.83 W, and 40.73 of 47.39 Wh.
func TestAnotherBattery(t *testing.T) {
	late := func(t time.Duration) bool { return t >= 20*time.Second }
	s := withFull(scripted.Play(time.Minute, func(t time.Duration) scripted.State {
		s := scripted.OnBattery(t)
		wh := 49.45
		if late(t) {
			wh = 40.73
		}
		s.Power, s.Energy = 4.83, math.Floor((wh*joulesPerWh-4.83*math.Floor(t.Seconds()))/36)*36
		return s
	}), func(t time.Duration) float64 {
		if late(t) {
			return 47.39 * joulesPerWh
		}
		return 50.06 * joulesPerWh
	})
	d := wantFindings(t, s, []run.Code{run.ContentStep}, "while 4.8 W left it by its power and its full content changed from 50.06 to 47.39 Wh")
	if w, u := *d.Discharge.Watts, *d.Discharge.UncertaintyWatts; math.Abs(w-4.83) > u || u > 0.5 {
		t.Errorf("discharge %.2f ± %.2f W, want 4.83", w, u)
	}
}

// A wrong reading steps there and back; one at rest steps, too.
func TestContentStepsThereAndBack(t *testing.T) {
	glitch := func(of func(time.Duration) scripted.State) func(time.Duration) scripted.State {
		return func(t time.Duration) scripted.State {
			s := of(t)
			if t.Truncate(time.Second) == 15*time.Second {
				s.Energy = 0
			}
			return s
		}
	}
	d := wantFindings(t, withFull(scripted.Play(30*time.Second, glitch(onBattery22(0))), steady), []run.Code{run.ContentStep}, "(the largest of 2 such steps)")
	if w, u := *d.Discharge.Watts, *d.Discharge.UncertaintyWatts; math.Abs(w-22) > u {
		t.Errorf("discharge %.2f ± %.2f W, want 22", w, u)
	}
	d = wantFindings(t, withFull(scripted.Play(30*time.Second, glitch(scripted.OnMains)), steady), []run.Code{run.ContentStep}, "")
	if *d.Discharge.Watts != 0 {
		t.Errorf("discharge at rest %v W", *d.Discharge.Watts)
	}
}

// A wrong reading may be the first change of a run, whose time nobody knows; the way
// back is a step, also of a battery that tells no power.
func TestContentThatStepsAtTheStart(t *testing.T) {
	for _, power := range []float64{22, nan} {
		d := wantFindings(t, withFull(scripted.Play(30*time.Second, func(t time.Duration) scripted.State {
			s := onBattery22(0)(t)
			if s.Power = power; t >= time.Second && t < 2*time.Second {
				s.Energy -= 0.04 * full486
			}
			return s
		}), steady), []run.Code{run.ContentStep}, "rose by 1.9")
		if w, u := *d.Discharge.Watts, *d.Discharge.UncertaintyWatts; math.Abs(w-22) > u {
			t.Errorf("discharge %.2f ± %.2f W, want 22", w, u)
		}
	}
}

// What was charged while the device slept, or while the charger was plugged in, is no
// step; the runs are rejected for other reasons.
func TestWhatIsNoContentStep(t *testing.T) {
	slept := scripted.Play(30*time.Second, onBattery22(60_000))
	for i := range slept.Sweeps {
		if s := &slept.Sweeps[i]; s.At.Mono-scripted.Start.Mono >= 15*time.Second {
			s.At.Boot += time.Hour
			s.At.Wall = s.At.Wall.Add(time.Hour)
		}
	}
	wantFindings(t, withFull(slept, steady), []run.Code{run.Suspended}, "slept")

	// A battery that counts charge starts anew from its nominal voltage when it is
	// unplugged (collectors): by up to a tenth of what was charged.
	turned := scripted.Play(60*time.Second, func(t time.Duration) scripted.State {
		s := onBattery22(-15_000)(t)
		if t < 15*time.Second {
			s.Power, s.Direction, s.Energy = -18, -1, 0.8*full486+18*math.Floor(t.Seconds())
		}
		return s
	})
	d, err := judged(withFull(turned, steady))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range d.Findings {
		if f.Code == run.ContentStep {
			t.Errorf("%s", f.Text)
		}
	}
}

// Power and content that tell two different stories all along leave the discharge
// unknown, and both are told.
func TestPowerAndContentThatContradictEachOther(t *testing.T) {
	for _, c := range []struct {
		watts         float64
		unknown, weak bool // weak: so far apart that it is no power of the whole device
	}{{21.7, false, false}, {30, false, true}, {50, true, true}, {9, true, true}, {-22, true, true}} {
		var codes []run.Code
		if c.unknown {
			codes = []run.Code{run.ContentStep}
		}
		d := wantFindings(t, withFull(scripted.Play(5*time.Minute, func(t time.Duration) scripted.State {
			s := onBattery22(0)(t)
			s.Power = c.watts
			return s
		}), steady), codes, "by its content: neither is believed, so the discharge is unknown")
		if unknown := d.Discharge.Watts == nil; unknown != c.unknown || c.weak != (d.SystemW == nil) || unknown != (d.Discharge.UncertaintyWatts == nil) {
			t.Errorf("%v W: discharge %v, system_w %v", c.watts, deref(d.Discharge.Watts), deref(d.SystemW))
		}
		if math.Abs(*d.Discharge.FromPowerWatts-c.watts) > 1e-9 || math.Abs(*d.Discharge.FromEnergyWatts-22) > 0.5 {
			t.Errorf("%v W: from power %v, from energy %v", c.watts, *d.Discharge.FromPowerWatts, *d.Discharge.FromEnergyWatts)
		}
	}
}

// Of two batteries one steps; the other goes on.
func TestContentStepOfOneOfTwoBatteries(t *testing.T) {
	s := withFull(scripted.Play(time.Minute, onBattery22(-40_000)), steady)
	s.Of = append(s.Of, run.Sensor{ID: run.BatteryPower, Instance: "BAT1", Unit: "watts"}, run.Sensor{ID: run.BatteryEnergy, Instance: "BAT1", Unit: "joules"},
		run.Sensor{ID: run.BatteryDirection, Instance: "BAT1"})
	for i := range s.Sweeps {
		second := math.Floor((s.Sweeps[i].At.Mono - scripted.Start.Mono).Seconds())
		s.Sweeps[i].Values = append(s.Sweeps[i].Values, 5, 90_000-5*second, 1)
	}
	d := wantFindings(t, s, []run.Code{run.ContentStep}, "the content of battery BAT0 fell")
	if strings.Contains(d.Findings[0].Text, "BAT1") {
		t.Errorf("BAT1 did not step: %s", d.Findings[0].Text)
	}
	if w, u := *d.Discharge.Watts, *d.Discharge.UncertaintyWatts; math.Abs(w-27) > u || u > 1 {
		t.Errorf("discharge %.2f ± %.2f W, want 27", w, u)
	}
}

// A device that is sampled once a minute shows its power at moments, while its content
// tells of all the time between: at rest for most of a minute with bursts between the
// sweeps, or the other way round. Neither is a step.
func TestContentOfRareSweeps(t *testing.T) {
	for _, seen := range []float64{4, 45} {
		for _, quantum := range []float64{3.6, 36, 360, 1750} {
			w := ContentWatch{}
			b := BatteryIndex{Power: 0, Energy: 1, Direction: 2, Full: 3, Charge: -1}
			content := 0.9 * full486
			for i := range 60 {
				now := scripted.After(scripted.Start, time.Duration(i)*time.Minute)
				mean := 45.0
				if i%3 == 0 || seen > 40 {
					mean = 5
				}
				content -= mean * 60
				if c, changed := w.Observe(b, []float64{seen, math.Round(content/quantum) * quantum, 1, full486}, now); changed && c.Kind == ContentStepped {
					t.Errorf("power seen %v W, quantum %v J, minute %d: %+v", seen, quantum, i, c)
				}
			}
		}
	}
}
