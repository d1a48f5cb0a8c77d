package simdevice

import (
	"math"
	"time"
)

// supply decides who feeds the system: the charger as far as it can, the
// batteries for the rest, and what the charger has left over charges them.
type supply struct {
	chargerW float64
	start    float64 // charge ratio below which charging starts again
	stop     float64 // charge ratio at which charging ends

	plugged  bool
	charging bool // see switchCharging
	mainsW   float64
	lossW    float64 // of charging
	off      bool    // nothing feeds the system

	plugAt    time.Duration // of the last change of plugged
	onlineLag time.Duration
	statusLag time.Duration
}

// Charging of every device.
const (
	chargeW    = 30  // highest power into the batteries together
	efficiency = 0.9 // battery energy gained over mains energy spent on it
)

// limitCharge sets the charge ratio at which charging ends; it begins again
// 0.05 below.
func (s *supply) limitCharge(ratio float64) { s.stop, s.start = ratio, ratio-0.05 }

// online is what the adapter shows at a time.
func (s *supply) online(now time.Duration) bool {
	return s.plugged != (now-s.plugAt < s.onlineLag)
}

// switchCharging starts charging below the ratio start and ends it at stop, or
// when the charger is pulled.
func (s *supply) switchCharging(charge float64) {
	switch {
	case !s.plugged || charge >= s.stop:
		s.charging = false
	case charge < s.start:
		s.charging = true
	}
}

// taperFrom is the charge from which the charging power falls, as at constant
// voltage; the shape is common practice, no source.
const taperFrom = 0.8

// wantedW is the power into the batteries that charging asks for, W.
func (s *supply) wantedW(charge float64) float64 {
	if !s.charging {
		return 0
	}
	if charge <= taperFrom {
		return chargeW
	}
	return chargeW * math.Max(0.05, (1-charge)/(1-taperFrom))
}

// feed shares systemW among charger and batteries for the coming time step. It
// sets each battery's power and returns what the system really gets: 0 when off.
func (s *supply) feed(systemW float64, packs []*battery) float64 {
	content, full := 0.0, 0.0
	for _, b := range packs {
		if b.present {
			content, full = content+b.contentJ, full+b.fullJ
		}
	}
	s.mainsW, s.lossW = 0, 0
	spare := -systemW
	if s.plugged {
		spare = s.chargerW - systemW
	}
	switch {
	case spare < 0 && content < -spare*timeStep.Seconds():
		s.off = true
		discharge(packs, 0, content)
		return 0
	case spare < 0:
		discharge(packs, -spare, content)
		if s.plugged {
			s.mainsW = s.chargerW
		}
	default:
		charge := 0.0
		if full > 0 {
			s.switchCharging(content / full)
			charge = math.Min(s.wantedW(content/full), spare*efficiency)
			charge = math.Min(charge, math.Max(0, s.stop*full-content)/timeStep.Seconds())
		}
		chargeUp(packs, charge)
		s.lossW = charge/efficiency - charge
		s.mainsW = systemW + charge + s.lossW
	}
	s.off = false
	return systemW
}

// discharge takes watts from the present batteries in proportion to content.
func discharge(packs []*battery, watts, content float64) {
	for _, b := range packs {
		if b.present && content > 0 {
			b.load(watts * b.contentJ / content)
		} else {
			b.load(0)
		}
	}
}

// chargeUp gives watts to the present batteries in proportion to what is missing.
func chargeUp(packs []*battery, watts float64) {
	missing := 0.0
	for _, b := range packs {
		if b.present {
			missing += b.fullJ - b.contentJ
		}
	}
	for _, b := range packs {
		if b.present && watts > 0 && missing > 0 {
			b.load(-watts * (b.fullJ - b.contentJ) / missing)
		} else {
			b.load(0)
		}
	}
}

// status is what a battery's status file would say now.
func (s *supply) status(b *battery) string {
	switch {
	case b.powerW > 0:
		return "Discharging"
	case b.powerW < 0:
		return "Charging"
	case b.charge() > 0.995:
		return "Full"
	case s.plugged:
		return "Not charging"
	}
	return "Discharging"
}
