package simdevice

import (
	"math"
	"time"
)

// relax is the first-order step response (Newton's law of cooling): the value
// after d, when it starts at from and tends to end with time constant tau.
// T(t) = Tend + (T0 - Tend) e^(-t/tau).
func relax(from, end float64, d, tau time.Duration) float64 {
	return relaxBy(from, end, float64(d)/float64(tau))
}

func relaxBy(from, end, ratio float64) float64 {
	return end + (from-end)*math.Exp(-ratio)
}

// cooler is a heat sink of one heat capacity that gives off heat to the ambient
// in proportion to its excess temperature, and a die above it that follows at once.
type cooler struct {
	capacity float64 // J/K
	passive  float64 // W/K without fan
	byFan    float64 // W/K more at full fan
	startC   float64 // the fan starts here
	fullC    float64 // and is at full speed here

	ambientC float64
	sinkC    float64
	fan      float64 // speed, 0 to 1
	fanStuck bool    // the fan stands still whatever the temperature
}

// dieKW is what the die is warmer than the sink, K/W.
const dieKW = 0.5

// conductance is what the sink gives off for each kelvin above ambient, W/K.
func (c *cooler) conductance() float64 { return c.passive + c.byFan*c.fan }

// dieC is the die temperature while the package uses watts.
func (c *cooler) dieC(watts float64) float64 { return c.sinkC + dieKW*watts }

// heat lets d pass with constant package power and fan speed.
func (c *cooler) heat(watts float64, d time.Duration) {
	g := c.conductance()
	c.sinkC = relaxBy(c.sinkC, c.ambientC+watts/g, d.Seconds()*g/c.capacity)
}

// steer moves the fan towards the speed for a die temperature, at most a tenth
// of full speed a second; below the starting point it keeps turning for 4 K.
func (c *cooler) steer(dieC float64, d time.Duration) {
	want := (dieC - c.startC) / (c.fullC - c.startC)
	switch {
	case c.fanStuck:
		c.fan = 0
		return
	case want <= 0 && c.fan > 0 && dieC > c.startC-4:
		want = fanLeast
	case want <= 0:
		want = 0
	default:
		want = math.Max(fanLeast, math.Min(want, 1))
	}
	most := 0.1 * d.Seconds()
	c.fan += math.Min(math.Max(want-c.fan, -most), most)
}

// fanLeast is the lowest speed at which the fan turns.
const fanLeast = 0.25
