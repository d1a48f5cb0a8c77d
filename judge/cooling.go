package judge

import (
	"math"
	"time"
)

const (
	coolingWindow = 2 * time.Minute  // of the latest idle sweeps that tell how a device cools
	coolingLeast  = 10 * time.Second // that they have to cover
	coolingSweeps = 3
	coolingStep   = 1.0 // K that a sensor may go up between two of them: thermometers step in whole degrees
	// coolingTrust is the largest standard error of the rate, as a share of it (common
	// practice, no source).
	coolingTrust = 0.5
)

// cooling is the time that a sensor needs to come down to a target, s: NaN where the
// latest idle sweeps do not tell, or it does not fall.
//
// A body that is not driven comes near the temperature around it exponentially (Newton's
// law of cooling; F. P. Incropera and D. P. DeWitt, Fundamentals of Heat and Mass
// Transfer, the lumped capacitance method; from memory). The rate is that of the straight
// line through the logarithms of the distance to the sensor's idle temperature, by least
// squares. A fan that slows down meanwhile makes it last longer.
func (b *Baseline) cooling(instance string, target float64, now time.Duration) float64 {
	idle := b.of(instance, now)
	column := b.values[instance]
	if math.IsNaN(idle) || !(target > idle) {
		return math.NaN()
	}
	var t, y []float64
	latest := math.NaN()
	for k := b.n - 1; k >= max(0, b.n-baselineSize); k-- {
		row := k % baselineSize
		x, ago := float64(column[row]), now-b.at[row]
		if math.IsNaN(x) {
			continue
		}
		if n := len(y); ago > coolingWindow || x <= idle || n > 0 && x < idle+math.Exp(y[n-1])-coolingStep {
			break // before the device began to cool
		}
		if len(y) == 0 {
			latest = x
		}
		t, y = append(t, -ago.Seconds()), append(y, math.Log(x-idle))
	}
	if len(y) < coolingSweeps || t[0]-t[len(t)-1] < coolingLeast.Seconds() {
		return math.NaN()
	}
	rate, se := slope(t, y)
	if !(rate < 0) || se > coolingTrust*-rate {
		return math.NaN()
	}
	return math.Max(0, math.Log((latest-idle)/(target-idle))/-rate)
}

// slope is that of the straight line through points by least squares, and its standard
// error (J. L. Devore, Probability and Statistics, 12.3; from memory).
func slope(x, y []float64) (b, se float64) {
	n := float64(len(x))
	var mx, my float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	var sxx, sxy, syy float64
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		sxx, sxy, syy = sxx+dx*dx, sxy+dx*dy, syy+dy*dy
	}
	b = sxy / sxx
	return b, math.Sqrt(math.Max(0, syy-b*sxy) / (n - 2) / sxx)
}
