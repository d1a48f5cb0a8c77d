package realkernel

import (
	"math"
	"time"
)

// Timeline is the truth about the guest of a [Boot]: its readings as functions
// of t, the time since the script started. It states battery.asl in Go.
type Timeline struct {
	// ChargeUnits is that of [Options]: the battery reports charge and current.
	ChargeUnits bool
}

// Voltage is the battery's terminal voltage in volts, at all times.
const Voltage = 12.0

// DesignVoltage is the battery's nominal voltage in volts.
const DesignVoltage = 11.4

// End is when the last row of the timeline begins; nothing changes after it
// but the temperature.
const End = 152 * time.Second

// row is a stretch of the timeline. Powers are whole mW, energies mW times ms,
// as in battery.asl.
type row struct {
	from    int64 // ms
	mains   bool
	status  string
	rate    int64 // mW, never negative
	sign    int64 // 1 discharging, -1 charging
	missing int64 // from full, when the row begins
}

var rows = []row{
	{0, true, "Charging", 18_000, -1, 360_000_000},
	{20_000, true, "Full", 0, 0, 0},
	{40_000, false, "Discharging", 12_000, 1, 0},
	{60_000, false, "Discharging", 25_000, 1, 240_000_000},
	{80_000, false, "Discharging", 41_000, 1, 740_000_000},
	{100_000, true, "Charging", 30_000, -1, 1_560_000_000},
	{152_000, true, "Full", 0, 0, 0},
}

// State is what the guest's files hold at one moment.
type State struct {
	Mains  bool   // ADP0/online
	Status string // BAT0/status
	// Reported are power_now (µW) and energy_now (µWh), in charge units
	// current_now (µA) and charge_now (µAh), rounded as the firmware rounds.
	ReportedRate, ReportedContent int64
	Temperature                   int64 // thermal_zone0/temp, thousandths of a °C
	Meter                         int64 // power1_average, µW
}

// At returns the state at t. Before 0 it is that of 0.
func (l Timeline) At(t time.Duration) State {
	ms := max(t, 0).Milliseconds()
	r := rowAt(ms)
	scale := l.scale()
	const full, mWh = 60_000, 3_600_000 // mWh; mW times ms in one mWh
	missing := r.missing + r.sign*r.rate*(ms-r.from)
	s := State{
		Mains: r.mains, Status: r.status,
		ReportedRate:    r.rate / scale * 1000,
		ReportedContent: (full - (missing+mWh-1)/mWh) / scale * 1000,
		Temperature:     40_000 + triangle(ms)/200*100,
		Meter:           10_000_000,
	}
	if !r.mains {
		s.Meter = r.rate * 1000
	}
	return s
}

// Discharge returns the battery's mean discharge from one time to another in
// watts, positive while discharging and negative while charging. It is that of
// the energy, not of what the firmware rounds. The times must rise.
func (l Timeline) Discharge(from, to time.Duration) float64 {
	return mean(from, to, func(ms int64) float64 {
		r := rowAt(ms)
		return float64(r.sign*r.rate) / 1000
	})
}

// MeterPower returns the power meter's mean from one time to another in watts.
func (l Timeline) MeterPower(from, to time.Duration) float64 {
	return mean(from, to, func(ms int64) float64 {
		return float64(l.At(time.Duration(ms)*time.Millisecond).Meter) / 1e6
	})
}

// MeanTemperature returns the zone's mean from one time to another in °C.
func (l Timeline) MeanTemperature(from, to time.Duration) float64 {
	return mean(from, to, func(ms int64) float64 {
		return float64(l.At(time.Duration(ms)*time.Millisecond).Temperature) / 1000
	})
}

// scale is what the battery's figures are divided by.
func (l Timeline) scale() int64 {
	if l.ChargeUnits {
		return Voltage
	}
	return 1
}

func rowAt(ms int64) row {
	found := rows[0]
	for _, r := range rows {
		if ms >= r.from {
			found = r
		}
	}
	return found
}

// triangle rises from 0 to 60 000 in 60 s and falls back in the next 60 s.
func triangle(ms int64) int64 {
	ms %= 120_000
	return min(ms, 120_000-ms)
}

// mean averages f, which is constant within each millisecond. NaN where the
// times do not rise by at least one.
func mean(from, to time.Duration, f func(ms int64) float64) float64 {
	first, last := from.Milliseconds(), to.Milliseconds()
	if last <= first {
		return math.NaN()
	}
	sum := 0.0
	for ms := first; ms < last; ms++ {
		sum += f(ms)
	}
	return sum / float64(last-first)
}
