package testday

import (
	"fmt"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// supplyGuard watches that mains goes on feeding a run that needs it.
type supplyGuard struct {
	expected  run.Supply
	batteries []judge.BatteryIndex
	lost      bool
	since     time.Duration // of the first sweep without mains, monotonic
}

// supplyBlinks is how long an adapter may say that it is gone while no battery drains: some
// do while they settle with the device what they deliver. Common practice, no source.
const supplyBlinks = time.Second

func (g *supplyGuard) look(s *sight) *Tripped {
	if g.expected != run.Mains || s.in.Supply != run.Battery {
		g.lost = false
		return nil
	}
	if !g.lost {
		g.lost, g.since = true, s.at.Mono
	}
	if directionOf(g.batteries, s.values) <= 0 && s.at.Mono-g.since < supplyBlinks {
		return nil
	}
	return &Tripped{Guard: "supply", Waits: true, Text: fmt.Sprintf("this run needs %s, and the device runs on its battery: the charger was pulled, or the power went", run.Mains)}
}

// directionOf is 1 where a battery discharges, else -1 where one charges, else 0, also where
// none says.
func directionOf(batteries []judge.BatteryIndex, values []float64) (d int) {
	for _, b := range batteries {
		switch x := judge.At(values, b.Direction); {
		case x > 0:
			return 1
		case x < 0:
			d = -1
		}
	}
	return d
}
