package meter

import "math"

// Alignment is where a log lies beside a run.
type Alignment struct {
	Offset      float64 // s, to be added to the log's times to give the run's
	Correlation float64 // with what the run measured of itself, there
	Rival       float64 // the highest correlation at another place; -1 where there is none
	Clear       bool
}

// When a place is clear (common practice, no source): that two records of one power agree
// less is rare, and chance, or a load that repeats itself, makes rivals nearly as good.
const (
	LeastCorrelation = 0.7
	leastLead        = 0.1
)

// Numbers of bins that correlations are looked for with, first everywhere and then near the
// best place.
const (
	coarseBins = 2000
	fineBins   = 20000
	fewestBins = 20
)

// Align finds the offset between from and to, s, at which a log fits best to what a run
// measured of itself from its start to its end. At least half of the run has to lie in the
// log. ok is false where there is nothing to look at.
//
// The correlation is Pearson's, of the means over bins as long as the run's sweeps or longer;
// the offset is where it is highest, interpolated by a parabola.
func Align(log, own Curve, from, to float64) (a Alignment, ok bool) {
	if log.empty() || own.empty() {
		return a, false
	}
	length := own.last() - own.first()
	step := max(own.interval(), log.interval()/2, length/coarseBins)
	bins := binsOf(own, step)
	if len(bins) < fewestBins {
		return a, false
	}
	from = max(from, own.first()-log.last()+length/2)
	to = min(to, own.last()-log.first()-length/2)
	if !(to >= from) {
		return a, false
	}
	// All places, at multiples of a bin.
	n := int((to-from)/step) + 1
	others := binsOver(log, own.first()-from-float64(n)*step, step, n+len(bins)+1)
	places := make([]float64, n)
	best := 0
	for k := range places {
		places[k] = correlation(bins, others[n-k:n-k+len(bins)])
		if places[k] > places[best] || math.IsNaN(places[best]) {
			best = k
		}
	}
	if math.IsNaN(places[best]) {
		return a, false
	}
	a.Rival = rival(places, best)
	a.Offset, a.Correlation = refine(log, own, from+float64(best)*step, step, max(own.interval(), length/fineBins))
	a.Clear = a.Correlation >= LeastCorrelation && a.Rival <= a.Correlation-leastLead
	return a, true
}

// Correlation is that of a log with what a run measured of itself, at an offset; NaN where
// it cannot be told.
func Correlation(log, own Curve, offset float64) float64 {
	if log.empty() || own.empty() {
		return math.NaN()
	}
	step := max(own.interval(), (own.last()-own.first())/fineBins)
	bins := binsOf(own, step)
	return correlation(bins, binsOver(log, own.first()-offset, step, len(bins)))
}

func binsOf(c Curve, step float64) []float64 {
	return binsOver(c, c.first(), step, int((c.last()-c.first())/step+1e-9))
}

// binsOver are the means over n bins from a moment on, NaN where the curve does not cover
// them.
func binsOver(c Curve, from, step float64, n int) []float64 {
	bins := make([]float64, n)
	for i := range bins {
		bins[i] = c.mean(from+float64(i)*step, from+float64(i+1)*step)
	}
	return bins
}

// correlation is Pearson's where both are known; NaN where that is less than half, or where
// one of them does not vary.
func correlation(x, y []float64) float64 {
	n := 0
	var mx, my, xx, yy, xy float64
	for i := range x {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		n++
		dx, dy := x[i]-mx, y[i]-my
		mx += dx / float64(n)
		my += dy / float64(n)
		xx += dx * (x[i] - mx)
		yy += dy * (y[i] - my)
		xy += dx * (y[i] - my)
	}
	if 2*n < len(x) || n < fewestBins/2 || xx <= 0 || yy <= 0 {
		return math.NaN()
	}
	return xy / math.Sqrt(xx*yy)
}

// rival is the highest correlation beyond the hill around the best: where it has fallen to
// half of the best's.
func rival(places []float64, best int) float64 {
	top := -1.0
	for _, step := range []int{-1, 1} {
		k := best
		for k >= 0 && k < len(places) && !(places[k] < places[best]/2) {
			k += step
		}
		for ; k >= 0 && k < len(places); k += step {
			top = math.Max(top, orLowest(places[k]))
		}
	}
	return top
}

func orLowest(r float64) float64 {
	if math.IsNaN(r) {
		return -1
	}
	return r
}

// refine looks around a place with bins that are as fine as the sweeps allow.
func refine(log, own Curve, near, coarse, fine float64) (offset, r float64) {
	bins := binsOf(own, fine)
	step := fine / 4
	n := 2*int(2*coarse/step) + 1
	places := make([]float64, n)
	best := 0
	at := func(k int) float64 { return near + float64(k-n/2)*step }
	for k := range places {
		places[k] = orLowest(correlation(bins, binsOver(log, own.first()-at(k), fine, len(bins))))
		if places[k] > places[best] {
			best = k
		}
	}
	offset, r = at(best), places[best]
	if best > 0 && best < n-1 {
		before, after := places[best-1], places[best+1]
		if bend := before - 2*r + after; bend < 0 {
			offset += step * (before - after) / (2 * bend)
		}
	}
	return offset, r
}
