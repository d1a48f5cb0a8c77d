package judge

import (
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// A counter of energy that leaps: the leap is not the package's power, and the finding
// says when and how far. 14.5 W are what the scripted machine draws all along.
func TestCounterSteps(t *testing.T) {
	at := func(steps map[time.Duration]float64) func(time.Duration) scripted.State {
		return func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Joules += 200_000
			for from, joules := range steps {
				if t >= from {
					s.Joules += joules
				}
			}
			return s
		}
	}
	for name, c := range map[string]struct {
		steps map[time.Duration]float64
		says  string
	}{
		"forward by 50 kJ":   {map[time.Duration]float64{15 * time.Second: 50_000}, "package_energy_joules of package-0 leapt by 50004 J within 0.25 s at 09:30:15 UTC, which would be 200 kW"},
		"back by 50 kJ":      {map[time.Duration]float64{15 * time.Second: -50_000}, "fell by 49996 J at 09:30:15 UTC"},
		"at the first":       {map[time.Duration]float64{scripted.Interval: 50_000}, "leapt by 50004 J within 0.25 s at 09:30:00 UTC"},
		"there and back":     {map[time.Duration]float64{10 * time.Second: 1000, 11 * time.Second: -1000}, "(the largest of 2 such steps)"},
		"less than it draws": {map[time.Duration]float64{15 * time.Second: 100}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			var codes []run.Code
			if c.says != "" {
				codes = []run.Code{run.CounterStep}
			}
			d := wantFindings(t, scripted.Play(30*time.Second, at(c.steps)), codes, c.says)
			want := 14.5
			if c.says == "" {
				want += 100. / 30
			}
			near(t, "package_w", *d.PackageW, want, 1e-9)
			for _, s := range d.Summaries {
				if s.Sensor == run.PackageEnergy {
					near(t, "energy", *s.EnergyJoules, want*30, 1e-9)
				}
			}
		})
	}
}

// Where the steps leave less than 95 % of the run, its energy is not guessed.
func TestCounterThatStepsAllTheTime(t *testing.T) {
	trace := scripted.Play(30*time.Second, func(t time.Duration) scripted.State {
		s := scripted.OnBattery(t)
		s.Joules += 50_000 * float64(t/time.Second)
		s.Watts = nan
		return s
	})
	d := wantFindings(t, trace, []run.Code{run.CounterStep}, "the largest of 30 such steps")
	if d.PackageW != nil {
		t.Errorf("package_w is %v, want unknown", *d.PackageW)
	}
}

// A hole in a counter's readings loses nothing of what it counted.
func TestCounterOverAHole(t *testing.T) {
	var c CounterRise
	if _, ok := c.Next(100*time.Second, 7); ok {
		t.Error("the first reading has none before it")
	}
	for _, x := range []struct {
		at     time.Duration
		joules float64
		ok     bool
	}{{101 * time.Second, 550, true}, {111 * time.Second, 5050, true}, {112 * time.Second, 551, false}, {113 * time.Second, -1, false}} {
		last := c.last
		if got, ok := c.Next(x.at, last+x.joules); got != x.joules || ok != x.ok {
			t.Errorf("%v: %v J, believed %v; want %v, %v", x.at, got, ok, x.joules, x.ok)
		}
	}
}
