package testday

import (
	"fmt"
	"math"

	"sweepd/judge"
	"sweepd/run"
)

// batteryGuard watches the charge and the temperature of the batteries.
type batteryGuard struct {
	index   *judge.SensorIndex
	reserve float64
	low     float64 // °C
	high    float64
	charges []int // positions
	warm    []int
}

// newBatteryGuard fails where a battery that is there does not say how full it is: its
// reserve could not be guarded.
func newBatteryGuard(index *judge.SensorIndex, values []float64, l GuardLimits) (*batteryGuard, error) {
	g := &batteryGuard{index: index, reserve: l.Reserve, low: l.BatteryTemperature[0], high: l.BatteryTemperature[1]}
	for _, b := range index.Batteries {
		if b.Charge >= 0 {
			g.charges = append(g.charges, b.Charge)
		}
		if math.IsNaN(judge.At(values, b.Charge)) && !b.Silent(values) {
			return nil, fmt.Errorf("battery %s does not say how full it is, so its reserve cannot be guarded: `sweepd sensors` says what is missing and why", run.Visible(b.Instance))
		}
	}
	for i, s := range index.Sensors {
		if s.ID == run.Temperature && ofBattery(index, s) {
			g.warm = append(g.warm, i)
		}
	}
	return g, nil
}

// ofBattery tells whether a sensor measures a battery.
func ofBattery(index *judge.SensorIndex, s run.Sensor) bool {
	for _, b := range index.Batteries {
		if b.Instance == s.Instance {
			return true
		}
	}
	return false
}

func (g *batteryGuard) look(s *sight) *Tripped {
	for _, i := range g.warm {
		switch v, of := judge.At(s.values, i), g.index.Sensors[i].Instance; {
		case v > g.high:
			// Nobody goes on with a hot battery by a word from afar.
			return &Tripped{Guard: "battery_temperature", Ends: true, Text: fmt.Sprintf(
				"battery %s is at %.1f °C (allowed: %g to %g °C): let it cool, and look at it before you go on", of, v, g.low, g.high)}
		case v < g.low:
			return &Tripped{Guard: "battery_temperature", Text: fmt.Sprintf(
				"battery %s is at %.1f °C (allowed: %g to %g °C): let it get warmer before you go on", of, v, g.low, g.high)}
		}
	}
	charge := g.index.Charge(s.values)
	filling := s.in.Supply == run.Mains && directionOf(g.index.Batteries, s.values) < 0
	if charge < g.reserve && !filling {
		return &Tripped{Guard: "reserve", Waits: true, Text: fmt.Sprintf("the battery is at %.1f %%, below the reserve of %g %%: charge it before you go on", 100*charge, 100*g.reserve)}
	}
	return nil
}
