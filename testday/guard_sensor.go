package testday

import (
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// sensorGuard watches that the sensors which the other guards look at go on giving values.
type sensorGuard struct {
	allowed time.Duration
	needed  []neededSensor
	grace   time.Duration // until when none is missed, monotonic
}

// neededSensor is one or several sensors of which one has to have a value, once one had.
type neededSensor struct {
	at      []int
	name    string
	seen    bool
	missing bool
	since   time.Duration // of the first sweep without, monotonic
}

// resumeGrace is how long sensors may take to be back when the machine has slept. Common
// practice, no source.
const resumeGrace = 3 * time.Second

func newSensorGuard(index *judge.SensorIndex, thermal *temperatureGuard, battery *batteryGuard, allowed time.Duration) *sensorGuard {
	g := &sensorGuard{allowed: allowed}
	need := func(positions ...int) {
		if len(positions) == 0 {
			return
		}
		n := neededSensor{at: positions, name: index.Sensors[positions[0]].String()}
		if more := len(positions) - 1; more > 0 {
			n.name += fmt.Sprintf(" and %d more", more)
		}
		g.needed = append(g.needed, n)
	}
	for _, i := range thermal.whole {
		need(i)
	}
	need(thermal.parts...)
	for _, i := range append(battery.charges[:len(battery.charges):len(battery.charges)], battery.warm...) {
		need(i)
	}
	var online []int
	for i, s := range index.Sensors {
		if s.ID == run.SupplyOnline {
			online = append(online, i)
		}
	}
	need(online...)
	return g
}

func (g *sensorGuard) look(s *sight) *Tripped {
	if s.resumed {
		g.grace = s.at.Mono + resumeGrace
	}
	for i := range g.needed {
		n := &g.needed[i]
		switch {
		case anyThere(s.values, n.at):
			n.seen, n.missing = true, false
		case !n.seen || s.at.Mono < g.grace:
			n.missing = false
		case !n.missing:
			n.missing, n.since = true, s.at.Mono
		}
		if gone := s.at.Mono - n.since; n.missing && gone >= g.allowed {
			return &Tripped{Guard: "sensor", Text: fmt.Sprintf("%s, which guards the device, gave no value for %.1f s (allowed: %g s)", n.name, gone.Seconds(), g.allowed.Seconds())}
		}
	}
	return nil
}

// stillGuard watches that the temperature of the processor moves where its power does: a
// sensor that stands still shows no heat.
type stillGuard struct {
	index   *judge.SensorIndex
	meter   packageMeter
	watched []int
	last    []float64
	at      time.Duration // of the sweep before, monotonic
	power   float64       // of the package, smoothed, W
	before  float64       // the same when a temperature last changed
	apart   time.Duration // since when the two differ; 0: they do not
}

// A temperature that does not change at all for stillFor while the package draws stillWatts
// more or less than when it last did is stuck: a processor is some kelvin warmer by so much,
// within seconds. Power is smoothed with the time constant stillSmooth. Common practice, no
// source.
const (
	stillFor    = 30 * time.Second
	stillWatts  = 5
	stillSmooth = 2 * time.Second
)

func newStillGuard(index *judge.SensorIndex, thermal *temperatureGuard) *stillGuard {
	g := &stillGuard{index: index, watched: append(thermal.whole[:len(thermal.whole):len(thermal.whole)], thermal.parts...), power: math.NaN()}
	g.last = make([]float64, len(g.watched))
	return g
}

func (g *stillGuard) look(s *sight) *Tripped {
	watts, passed := g.meter.watts(g.index, s.values, s.at.Mono), s.at.Mono-g.at
	g.at = s.at.Mono
	moved := false
	for k, i := range g.watched {
		v := judge.At(s.values, i)
		moved = moved || v != g.last[k] && !math.IsNaN(v)
		g.last[k] = v
	}
	switch {
	case math.IsNaN(watts):
		g.power, g.apart = math.NaN(), 0
		return nil
	case math.IsNaN(g.power):
		g.power, moved = watts, true
	default:
		g.power += (watts - g.power) * (1 - math.Exp(-passed.Seconds()/stillSmooth.Seconds()))
	}
	if moved {
		g.before = g.power
	}
	if math.Abs(g.power-g.before) < stillWatts {
		g.apart = 0
		return nil
	}
	if g.apart == 0 {
		g.apart = s.at.Mono
	}
	if s.at.Mono-g.apart < stillFor {
		return nil
	}
	var names []string
	for k, i := range g.watched {
		names = append(names, fmt.Sprintf("%s at %.1f °C", g.index.Sensors[i].Instance, g.last[k]))
	}
	return &Tripped{Guard: "sensor", Text: fmt.Sprintf("the processor's temperature stands still (%s) although its package went from %.0f W to %.0f W: the sensor is stuck",
		strings.Join(names, ", "), g.before, g.power)}
}
