package testday

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"

	"sweepd/judge"
	"sweepd/run"
)

// temperatureGuard watches everything whose limit is known: the processors', by the user's
// limit or, where that is lower, by what the driver states; what else has a driver that
// states one, by that.
type temperatureGuard struct {
	hot []hotSensor
	// whole are positions of temperatures of processors each of which has to be there, parts
	// those of which one has to be. One of the two is empty.
	whole, parts []int
	sensors      []run.Sensor
}

// hotSensor is a temperature with its limit, °C.
type hotSensor struct {
	at     int
	name   string
	limit  float64
	stated bool // by the driver, not by the user
}

// Names by which temperatures of processors and of graphics are known: what drivers and
// their labels are called, common practice, no source. Those of single cores go with
// their cores when these are switched off.
var (
	processorNames  = regexp.MustCompile(`cpu|coretemp|k10temp|k8temp|pkg|package|tctl|tdie|tccd|soc|apu`)
	singleCoreNames = regexp.MustCompile(`core \d|cpu ?\d`)
)

// ofGraphics tells whether a temperature is that of a graphics processor, which may sleep
// and then has none.
func ofGraphics(s run.Sensor) bool {
	return strings.Contains(s.Source, "/drm/") || strings.Contains(strings.ToLower(s.Instance), "gpu")
}

// newTemperatureGuard fails where no temperature of the processor has a value. Where nothing
// is known to be the processor's, every temperature counts as if it were, but for those of
// batteries.
func newTemperatureGuard(index *judge.SensorIndex, values []float64, limit float64, stated func(i int) float64) (*temperatureGuard, error) {
	g := &temperatureGuard{sensors: index.Sensors}
	var rest, graphics []int
	for i, s := range index.Sensors {
		name := strings.ToLower(s.Instance)
		switch {
		case s.ID != run.Temperature || ofBattery(index, s):
		case ofGraphics(s):
			graphics = append(graphics, i)
		case !processorNames.MatchString(name):
			rest = append(rest, i)
		case singleCoreNames.MatchString(name):
			g.parts = append(g.parts, i)
		default:
			g.whole = append(g.whole, i)
		}
	}
	g.limit(g.whole, limit, stated)
	g.limit(g.parts, limit, stated)
	g.limit(graphics, limit, stated)
	if !anyThere(values, g.whole) && !anyThere(values, g.parts) {
		g.whole, g.parts = nil, rest
		g.limit(rest, limit, stated)
	} else {
		g.limit(rest, math.Inf(1), stated)
	}
	if anyThere(values, g.whole) {
		g.parts = nil
	} else {
		g.whole = nil
	}
	if !anyThere(values, g.whole) && !anyThere(values, g.parts) {
		return nil, errors.New("no temperature of this device can be read, so none can be guarded, and nothing is set: `sweepd sensors` says what is missing and why")
	}
	return g, nil
}

// limit gives sensors a limit, or what their drivers state where that is lower.
func (g *temperatureGuard) limit(positions []int, limit float64, stated func(i int) float64) {
	for _, i := range positions {
		h := hotSensor{at: i, name: g.sensors[i].Instance, limit: limit}
		if stated != nil {
			if c := stated(i); c < limit {
				h.limit, h.stated = c, true
			}
		}
		if !math.IsInf(h.limit, 1) {
			g.hot = append(g.hot, h)
		}
	}
}

// anyThere tells whether one of some sensors has a value.
func anyThere(values []float64, positions []int) bool {
	for _, i := range positions {
		if !math.IsNaN(judge.At(values, i)) {
			return true
		}
	}
	return false
}

func (g *temperatureGuard) look(s *sight) *Tripped {
	for i := range g.hot {
		h := &g.hot[i]
		if v := judge.At(s.values, h.at); v >= h.limit {
			whose := ""
			if h.stated {
				whose = ", as its driver states"
			}
			return &Tripped{Guard: "temperature", Text: fmt.Sprintf("%s is at %.1f °C, and its limit is %g °C%s", h.name, v, h.limit, whose)}
		}
	}
	return nil
}
