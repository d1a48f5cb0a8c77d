package simdevice

import (
	"math"
	"math/rand/v2"
	"time"
)

// gauge is what the battery says of itself. Its values change only at a refresh,
// all together; between refreshes a reader sees the same text again.
type gauge struct {
	rng  *rand.Rand
	next time.Duration // of the next refresh

	joules, ampSeconds, seconds float64 // gathered since the last refresh
	meanW, meanA                float64 // running means, with GaugeTime
	running                     bool    // the running means have begun

	shown shown
}

// shown is one refresh: the numbers that the files show, in their units.
type shown struct {
	status  string
	rate    int64 // µW or µA, rounded, signed as configured
	content int64 // µWh or µAh
	full    int64
	design  int64
	volts   int64 // µV
	percent int64
	deciC   int64 // battery temperature, 0.1 °C
}

// gather adds up what passed the terminals during s seconds.
func (g *gauge) gather(b *battery, s float64) {
	g.joules += b.powerW * s
	g.ampSeconds += b.amps * s
	g.seconds += s
	if t := b.cfg.GaugeTime; t > 0 {
		if !g.running {
			g.meanW, g.meanA, g.running = b.powerW, b.amps, true
		}
		g.meanW = relaxBy(g.meanW, b.powerW, s/t.Seconds())
		g.meanA = relaxBy(g.meanA, b.amps, s/t.Seconds())
	}
}

// restart forgets what was gathered, as when the flow turns round.
func (g *gauge) restart() {
	g.joules, g.ampSeconds, g.seconds, g.running = 0, 0, 0, false
}

// refresh takes new values; status is what the supply says the battery does.
func (g *gauge) refresh(b *battery, status string, caseC float64) {
	watts, amps := b.powerW, b.amps
	switch {
	case g.running:
		watts, amps = g.meanW, g.meanA
	case g.seconds > 0:
		watts, amps = g.joules/g.seconds, g.ampSeconds/g.seconds
	}
	g.joules, g.ampSeconds, g.seconds = 0, 0, 0
	factor := 1 + b.cfg.GaugeNoise*g.rng.NormFloat64()
	watts *= factor
	amps *= factor

	s := &g.shown
	s.status = status
	s.volts = int64(math.Round(b.volts*1e3)) * 1000 // firmware counts mV
	quantum := b.cfg.QuantumWh * 1e6
	if b.cfg.ReportsCharge {
		quantum /= 10
		s.rate = roundTo(amps*1e6, 1000)
		s.content = roundTo(b.coulombs/joulesPerWh*1e6, quantum)
		s.full = roundTo(b.coulombsAt(1)/joulesPerWh*1e6, quantum)
		s.design = roundTo(b.coulombsAt(1)/joulesPerWh*1e6*b.cfg.designWh()/b.cfg.FullWh, quantum)
	} else {
		s.rate = roundTo(watts*1e6, 1000)
		s.content = roundTo(b.contentJ/joulesPerWh*1e6, quantum)
		s.full = roundTo(b.cfg.FullWh*1e6, quantum)
		s.design = roundTo(b.cfg.designWh()*1e6, quantum)
	}
	s.percent = int64(math.Round(100 * float64(s.content) / float64(s.full)))
	if b.cfg.Negative {
		s.rate = -s.rate
	} else if s.rate < 0 {
		s.rate = -s.rate // a magnitude in both directions, as the control-method driver prints it
	}
	s.deciC = int64(math.Round(caseC * 10))
}

// roundTo rounds to the nearest multiple of quantum.
func roundTo(v, quantum float64) int64 {
	return int64(math.Round(math.Round(v/quantum) * quantum))
}
