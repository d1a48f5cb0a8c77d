package agent

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
	broken                bool // a hole longer than bridge, or a counter that fell
}

func newIntegrators(sensors []run.Sensor, bridge time.Duration) []integrator {
	list := make([]integrator, len(sensors))
	for i, s := range sensors {
		list[i] = integrator{counter: s.Kind == run.Counter, bridge: bridge}
	}
	return list
}

func (g *integrator) observe(t time.Duration, x float64) {
	if math.IsNaN(x) {
		return
	}
	if g.n == 0 {
		g.min, g.max, g.first, g.firstAt = x, x, x, t
	} else {
		g.step(t, x)
	}
	g.n++
	g.min, g.max = math.Min(g.min, x), math.Max(g.max, x)
	g.last, g.lastAt = x, t
}

func (g *integrator) step(t time.Duration, x float64) {
	dt := t - g.lastAt
	if g.counter {
		g.broken = g.broken || x < g.last
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
	switch {
	case g.counter || g.n == 0:
		return nil
	case g.covered == 0:
		return &g.first
	}
	m := g.area / g.covered.Seconds()
	return &m
}

// minCoverage is the share of a run that readings must cover before an energy
// is stated for the whole of it.
const minCoverage = 0.95

// energy is a power's integral over the whole run, or a counter's rise, J. The
// ends that no reading covers are filled at the mean of the rest; nil if they
// are more than a twentieth of the run, or if there is a hole.
func (g *integrator) energy(duration float64) *float64 {
	covered := g.covered.Seconds()
	if g.broken || covered <= 0 || covered < minCoverage*duration {
		return nil
	}
	e := g.area
	if g.counter {
		e = g.last - g.first
	}
	if missing := duration - covered; missing > 0 {
		e *= duration / covered
	}
	return &e
}
