package judge

import (
	"fmt"
	"math"
	"time"

	"sweepd/run"
)

// CounterRise follows a counter of energy from reading to reading. The zero value
// works.
type CounterRise struct {
	begun   bool
	last    float64
	at      time.Duration // of the last reading
	changed time.Duration // when it changed last
}

// Next takes a reading, J, and gives the energy since the one before. ok is false where
// there is none before, and where no part of a portable computer can have drawn so
// much: the counter leapt, or it fell because it was reset.
func (c *CounterRise) Next(now time.Duration, x float64) (joules float64, ok bool) {
	before := *c
	c.begun, c.last, c.at = true, x, now
	if !before.begun {
		c.changed = now - run.CounterLate
		return 0, false
	}
	if x != before.last {
		c.changed = now
	}
	joules = x - before.last
	return joules, joules >= 0 && joules <= run.PlausibleRise(now-before.changed)
}

// counterCheck finds counters of energy that leapt or were reset.
type counterCheck struct {
	counters []runCounter
	steps    int
	largest  counterStep
}

type runCounter struct {
	CounterRise
	position int // in a sweep
	name     string
}

type counterStep struct {
	name   string
	joules float64 // rise, negative for a fall
	within time.Duration
	at     run.Instant
}

func newCounterCheck(sensors []run.Sensor) *counterCheck {
	c := &counterCheck{}
	for i, s := range sensors {
		if countsEnergy(s) {
			c.counters = append(c.counters, runCounter{position: i, name: s.String()})
		}
	}
	return c
}

func countsEnergy(s run.Sensor) bool { return s.Kind == run.Counter && s.Unit == "joules" }

func (c *counterCheck) observe(s *run.Sweep, t time.Duration) {
	for i := range c.counters {
		k := &c.counters[i]
		x := At(s.Values, k.position)
		if math.IsNaN(x) {
			continue // it counts on meanwhile
		}
		begun, before := k.begun, k.at
		joules, ok := k.Next(t, x)
		if ok || !begun {
			continue
		}
		if c.steps++; c.steps == 1 || math.Abs(joules) > math.Abs(c.largest.joules) {
			c.largest = counterStep{k.name, joules, t - before, s.At}
		}
	}
}

func (c *counterCheck) findings() []run.Finding {
	if c.steps == 0 {
		return nil
	}
	x := c.largest
	what := fmt.Sprintf("leapt by %.0f J within %.2f s at %s, which would be %.3g kW: more than %d W of any part of a portable computer is not believed",
		x.joules, x.within.Seconds(), clockTime(x.at.Wall), x.joules/x.within.Seconds()/1000, run.PlausibleWatts)
	if x.joules < 0 {
		what = fmt.Sprintf("fell by %.0f J at %s: it was reset, or may have wrapped unseen", -x.joules, clockTime(x.at.Wall))
	}
	if c.steps > 1 {
		what += fmt.Sprintf(" (the largest of %d such steps)", c.steps)
	}
	return []run.Finding{{Code: run.CounterStep, Severity: run.SeverityDoubt, At: x.at.Wall, Text: fmt.Sprintf(
		"%s %s; the energy of the run is counted without it, or not at all where less than %.0f %% of the run is left", x.name, what, 100*minCoverage)}}
}
