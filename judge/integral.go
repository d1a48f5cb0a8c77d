package judge

import (
	"math"
	"time"

	"sweepd/run"
)

// integrator follows one sensor through a run.
type integrator struct {
	counter bool
	bridge  time.Duration // the longest hole that is bridged by a straight line

	n                     int
	min, max, first, last float64
	firstAt, lastAt       time.Duration
	area                  float64 // of the straight lines between readings, unit x s
	covered               time.Duration
	every, until          time.Duration // steps of the marks and the last one's time
	marks                 []mark        // where the steady part may begin
	broken                bool          // a hole longer than bridge
	rise                  CounterRise
	leapt                 float64 // by a counter in steps that are not believed, J
}

// mark is where an integral stood at the first reading from a moment on.
type mark struct {
	first, area float64
	covered     time.Duration
}

// longestBridge is the longest time that the power of a battery is taken to run
// straight: longer than any sampling interval.
const longestBridge = 65 * time.Second

func newIntegrators(sensors []run.Sensor, bridge, every, until time.Duration) []integrator {
	list := make([]integrator, len(sensors))
	for i, s := range sensors {
		list[i] = integrator{counter: s.Kind == run.Counter, bridge: bridge, every: every, until: until}
	}
	return list
}

func (g *integrator) observe(t time.Duration, x float64) {
	if math.IsNaN(x) {
		return
	}
	if g.n == 0 {
		g.min, g.max, g.first, g.firstAt = x, x, x, t
		g.rise.Next(t, x)
	} else {
		g.step(t, x)
	}
	g.n++
	g.min, g.max = math.Min(g.min, x), math.Max(g.max, x)
	g.last, g.lastAt = x, t
	for g.every > 0 && !g.counter && t >= g.nextMark() && g.nextMark() <= g.until {
		g.marks = append(g.marks, mark{x, g.area, g.covered})
	}
}

func (g *integrator) nextMark() time.Duration { return time.Duration(len(g.marks)+1) * g.every }

func (g *integrator) step(t time.Duration, x float64) {
	dt := t - g.lastAt
	if g.counter {
		joules, believed := g.rise.Next(t, x)
		if !believed {
			g.leapt += joules
			return
		}
		g.covered += dt
		return
	}
	if dt > g.bridge {
		g.broken = true
		return
	}
	g.area += (g.last + x) / 2 * dt.Seconds()
	g.covered += dt
}

// mean is the time-weighted mean of a gauge: the trapezoid area over the time
// that it covers.
func (g *integrator) mean() *float64 {
	if g.counter || g.n == 0 {
		return nil
	}
	return g.meanFrom(mark{first: g.first})
}

// steadyMean is the mean from the first reading at or after cut, a multiple of the
// step of the marks.
func (g *integrator) steadyMean(cut time.Duration) *float64 {
	i := int(cut/g.every) - 1
	if i >= len(g.marks) {
		return nil
	}
	return g.meanFrom(g.marks[i])
}

func (g *integrator) meanFrom(m mark) *float64 {
	x := m.first
	if covered := g.covered - m.covered; covered > 0 {
		x = (g.area - m.area) / covered.Seconds()
	}
	return &x
}

// minCoverage is the share of a run that readings must cover before an energy
// is stated for the whole of it.
const minCoverage = 0.95

// energy is a power's integral over the whole run, or a counter's rise without the
// steps that are not believed, J. What no reading covers is filled at the mean of the
// rest; nil if that is more than a twentieth of the run, or if a power has a hole.
func (g *integrator) energy(duration float64) *float64 {
	covered := g.covered.Seconds()
	if g.broken || covered <= 0 || covered < minCoverage*duration {
		return nil
	}
	e := g.area
	if g.counter {
		e = g.last - g.first - g.leapt
	}
	if missing := duration - covered; missing > 0 {
		e *= duration / covered
	}
	return &e
}
