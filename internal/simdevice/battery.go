package simdevice

import (
	"math"
	"time"
)

const joulesPerWh = 3600

// designWh is the content of the pack when it was new.
func (c *BatteryConfig) designWh() float64 { return c.FullWh * 1.06 }

// designV is what voltage_min_design shows, which the kernel takes from the
// firmware's nominal voltage.
func (c *BatteryConfig) designV() float64 { return (c.MinV + c.MaxV) / 2 }

// battery is a lithium-ion pack: a content of energy, and a voltage that falls
// with it. What leaves the terminals is what the content loses; the inner
// resistance shows in the voltage alone.
type battery struct {
	cfg     BatteryConfig
	present bool

	fullJ    float64
	contentJ float64
	coulombs float64 // what a counter of charge at the terminals has left
	powerW   float64 // at the terminals, positive while discharging
	amps     float64
	volts    float64

	outJ, inJ float64 // what ever left and entered

	gauge gauge
}

func newBattery(cfg BatteryConfig, seed, stream uint64) *battery {
	b := &battery{cfg: cfg, present: true, fullJ: cfg.FullWh * joulesPerWh}
	b.gauge.rng = newRand(seed, stream)
	// Refreshes of different devices do not fall on the same moments.
	b.gauge.next = timeStep * time.Duration(1+b.gauge.rng.Int64N(int64(cfg.Refresh/timeStep)))
	b.setCharge(cfg.Charge)
	return b
}

// charge is content over full content, 0 to 1.
func (b *battery) charge() float64 { return b.contentJ / b.fullJ }

// openVolts is the open-circuit voltage at a charge, linear between empty and full.
func (b *battery) openVolts(charge float64) float64 {
	return b.cfg.MinV + (b.cfg.MaxV-b.cfg.MinV)*charge
}

// coulombsAt is the charge that the pack holds at a charge ratio: the integral of
// dE / V(E), which for a linear voltage is E/(Vmax-Vmin) ln(V/Vmin).
func (b *battery) coulombsAt(charge float64) float64 {
	return b.fullJ / (b.cfg.MaxV - b.cfg.MinV) * math.Log(b.openVolts(charge)/b.cfg.MinV)
}

func (b *battery) setCharge(ratio float64) {
	b.contentJ = ratio * b.fullJ
	b.coulombs = b.coulombsAt(ratio)
	b.load(b.powerW)
}

// load sets the power at the terminals, W, positive while discharging. Current
// solves P = (V - I R) I.
func (b *battery) load(watts float64) {
	open, r := b.openVolts(b.charge()), b.cfg.Ohm
	b.powerW = watts
	if root := open*open - 4*r*watts; r > 0 && root > 0 {
		b.amps = (open - math.Sqrt(root)) / (2 * r)
	} else {
		b.amps = watts / open
	}
	b.volts = open - r*b.amps
}

// pass lets d pass with constant power.
func (b *battery) pass(d time.Duration) {
	s := d.Seconds()
	joules := b.powerW * s
	b.contentJ = math.Min(math.Max(b.contentJ-joules, 0), b.fullJ)
	b.coulombs = math.Max(b.coulombs-b.amps*s, 0)
	if joules > 0 {
		b.outJ += joules
	} else {
		b.inJ -= joules
	}
	b.gauge.gather(b, s)
}
