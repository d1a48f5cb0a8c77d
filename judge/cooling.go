package judge

import (
	"math"
	"slices"
	"time"
)

const (
	coolingWindow = 2 * time.Minute  // how old the idle sweeps may be that tell how a device cools
	coolingLatest = 12               // how many of the latest do
	coolingLeast  = 10 * time.Second // that they have to cover
	coolingSweeps = 5
	coolingApart  = time.Second // between two of them
	coolingStep   = 1.0         // K that a sensor may go up between two of them: thermometers step in whole degrees
	// coolingTrust is the share of pairs of sweeps of which the later one is the cooler
	// (common practice, no source).
	coolingTrust = 0.75
)

// cooling is the time that a sensor needs to come down to a target, s: NaN where the
// latest idle sweeps do not tell, or it does not fall.
//
// A body that is not driven comes near the temperature around it exponentially (Newton's
// law of cooling; F. P. Incropera and D. P. DeWitt, Fundamentals of Heat and Mass
// Transfer, the lumped capacitance method; from memory). The rate is the median slope
// between the logarithms of the distances to the sensor's idle temperature (P. K. Sen,
// Estimates of the regression coefficient based on Kendall's tau, 1968; from memory):
// that of the first second, in which a die falls to its heat sink's temperature, does not
// count for much. A fan that slows down meanwhile makes it last longer.
func (b *Baseline) cooling(instance string, target float64, now time.Duration) float64 {
	idle := b.of(instance, now)
	c := &b.course
	column := c.values[instance]
	if math.IsNaN(idle) || !(target > idle) || column == nil {
		return math.NaN()
	}
	var t, y []float64
	for k := c.n - 1; k >= max(0, c.n-baselineSize) && len(y) < coolingLatest; k-- {
		row := k % baselineSize
		x, ago := float64(column[row]), now-c.at[row]
		if math.IsNaN(x) || len(t) > 0 && ago.Seconds()+t[len(t)-1] < coolingApart.Seconds() {
			continue
		}
		if n := len(y); ago > coolingWindow || x <= idle || n > 0 && x < idle+math.Exp(y[n-1])-coolingStep {
			break // before the device began to cool
		}
		t, y = append(t, -ago.Seconds()), append(y, math.Log(x-idle))
	}
	if len(y) < coolingSweeps || t[0]-t[len(t)-1] < coolingLeast.Seconds() {
		return math.NaN()
	}
	rate, falling := fall(t, y)
	if !(rate > 0) || falling < coolingTrust {
		return math.NaN()
	}
	return math.Max(0, (y[0]-math.Log(target-idle))/rate)
}

// fall is the median rate at which y falls with t between two points, and the share of
// pairs between which it does; t falls from point to point.
func fall(t, y []float64) (rate, falling float64) {
	var rates []float64
	down := 0.0
	for i := range t {
		for j := i + 1; j < len(t); j++ {
			if t[i] == t[j] {
				continue
			}
			r := (y[j] - y[i]) / (t[i] - t[j])
			rates = append(rates, r)
			switch {
			case r > 0:
				down++
			case r == 0:
				down += 0.5
			}
		}
	}
	if len(rates) == 0 {
		return math.NaN(), 0
	}
	slices.Sort(rates)
	n := len(rates)
	return (rates[(n-1)/2] + rates[n/2]) / 2, down / float64(n)
}
