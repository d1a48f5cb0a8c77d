package meter

import (
	"math"
	"slices"
)

// Curve is a power over time as the energy since its first moment, so that the mean over any
// interval is exact for values that are joined by straight lines, and for counters.
type Curve struct {
	at     []float64 // s, rising
	energy []float64 // J
}

// FromPower is the curve of momentary values. Those of one moment count as the last of them.
func FromPower(at, watts []float64) Curve {
	var c Curve
	last := 0.0
	for i, t := range at {
		n := len(c.at)
		if n > 0 && t <= c.at[n-1] {
			last = watts[i]
			continue
		}
		e := 0.0
		if n > 0 {
			e = c.energy[n-1] + (t-c.at[n-1])*(watts[i]+last)/2
		}
		c.at, c.energy, last = append(c.at, t), append(c.energy, e), watts[i]
	}
	return c
}

// FromEnergy is the curve of a counter, J.
func FromEnergy(at, joules []float64) Curve {
	var c Curve
	for i, t := range at {
		if n := len(c.at); n == 0 || t > c.at[n-1] {
			c.at, c.energy = append(c.at, t), append(c.energy, joules[i])
		}
	}
	return c
}

func (c Curve) empty() bool    { return len(c.at) < 2 }
func (c Curve) first() float64 { return c.at[0] }
func (c Curve) last() float64  { return c.at[len(c.at)-1] }

// until is the energy up to a moment within the curve, J.
func (c Curve) until(t float64) float64 {
	i, _ := slices.BinarySearch(c.at, t)
	if i == 0 {
		return c.energy[0]
	}
	if i == len(c.at) {
		return c.energy[i-1]
	}
	share := (t - c.at[i-1]) / (c.at[i] - c.at[i-1])
	return c.energy[i-1] + share*(c.energy[i]-c.energy[i-1])
}

// mean is the mean power from a to b, W; NaN where the curve does not cover them.
func (c Curve) mean(a, b float64) float64 {
	const rounding = 1e-6 // s
	if c.empty() || !(b > a) || a < c.first()-rounding || b > c.last()+rounding {
		return math.NaN()
	}
	return (c.until(b) - c.until(a)) / (b - a)
}

// interval is the median time between two values, s.
func (c Curve) interval() float64 {
	steps := make([]float64, 0, len(c.at))
	for i := 1; i < len(c.at); i++ {
		steps = append(steps, c.at[i]-c.at[i-1])
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// gap tells whether no value was there for too long somewhere between a and b.
func (c Curve) gap(a, b, longest float64) bool {
	i, _ := slices.BinarySearch(c.at, a)
	for i = max(i, 1); i < len(c.at) && c.at[i-1] < b; i++ {
		if c.at[i]-c.at[i-1] > longest {
			return true
		}
	}
	return false
}

// A log may lack values for bridgedIntervals of its intervals and for bridgedSeconds: they
// are joined by a straight line (common practice, no source).
const (
	bridgedIntervals = 5
	bridgedSeconds   = 3.0
)

// Over gives a log's mean power around each of these moments, W, from the middle between it
// and the one before to the middle between it and the next: the trapezoid integral over the
// moments is then the log's energy. offset is what is added to the log's times, s. Where the
// log has no value the power is missing (NaN); covered is the share of the time that has one.
func (c Curve) Over(at []float64, offset float64) (watts []float64, covered float64) {
	longest := max(bridgedIntervals*c.interval(), bridgedSeconds)
	had, all := 0.0, 0.0
	watts = make([]float64, len(at))
	for i, t := range at {
		a, b := t, t
		if i > 0 {
			a = (at[i-1] + t) / 2
		}
		if i+1 < len(at) {
			b = (t + at[i+1]) / 2
		}
		watts[i] = c.mean(a-offset, b-offset)
		if c.gap(a-offset, b-offset, longest) {
			watts[i] = math.NaN()
		}
		all += b - a
		if !math.IsNaN(watts[i]) {
			had += b - a
		}
	}
	if all == 0 {
		return watts, 0
	}
	return watts, had / all
}
