package analysis

import "math"

const (
	rangeTolerance  = 0.03 // by which a floor or cap may miss the settings it lies between
	rangeSingle     = 0.05 // a single ignored setting must be off by this share of it,
	rangeSingleW    = 0.5  // and by this many watts
	rangeNoiseFloor = 1e-6 // mean squares below this are equally good: 0.1 %
)

// rangeFit is the part of the settings that the device follows: those with index
// from..to. Below, it draws what setting lo would draw, above what hi would; both
// on the scale of set watts, NaN where there is no floor or no cap. scale is
// measured over set watts inside the range.
type rangeFit struct {
	from, to  int
	lo, hi    float64
	scale     float64
	criterion float64
}

// effectiveRange compares measured package watts with set watts, both positive
// and in ascending order of set watts, n runs each. It fits
//
//	ln power = c + ln clamp(set, lo, hi)
//
// for every number of settings below lo and above hi and takes the admissible fit
// of the least Schwarz criterion. Fewer than three settings: the full range.
//
// Source: Hudson 1966 (piecewise fits by search), Schwarz 1978 (criterion). The
// constants were chosen by simulation, see TestStudyEffectiveRange.
func effectiveRange(set, power, n []float64) rangeFit {
	m := len(set)
	best := rangeFit{from: 0, to: m - 1, lo: math.NaN(), hi: math.NaN(), scale: math.NaN(), criterion: math.Inf(1)}
	if m < 3 {
		return best
	}
	ratio, level := make([]float64, m), make([]float64, m)
	for i := range set {
		level[i] = math.Log(power[i])
		ratio[i] = level[i] - math.Log(set[i])
	}
	ratios, levels := newRunningSums(ratio, n), newRunningSums(level, n)
	for i := 0; i <= m-2; i++ {
		for k := 0; k <= m-2-i; k++ {
			if fit := clampFit(set, ratios, levels, i, k); fit.admissible(set) && fit.criterion < best.criterion {
				best = fit
			}
		}
	}
	return best
}

// clampFit fits the model with i settings below the range and k above it.
func clampFit(set []float64, ratios, levels runningSums, i, k int) rangeFit {
	m := len(set)
	c, rss := ratios.fit(i, m-k)
	fit := rangeFit{from: i, to: m - k - 1, lo: math.NaN(), hi: math.NaN(), scale: math.Exp(c)}
	parameters := 1.0
	if i > 0 {
		mean, add := levels.fit(0, i)
		fit.lo = math.Exp(mean - c)
		rss += add
		parameters += 2
	}
	if k > 0 {
		mean, add := levels.fit(m-k, m)
		fit.hi = math.Exp(mean - c)
		rss += add
		parameters += 2
	}
	total := ratios.weight[m]
	fit.criterion = float64(m)*math.Log(max(rss/total, rangeNoiseFloor)) + parameters*math.Log(float64(m))
	return fit
}

// admissible tells whether the fitted floor and cap lie between the settings they
// are said to lie between, and far enough from a single ignored one.
func (f rangeFit) admissible(set []float64) bool {
	last := len(set) - 1
	if f.from > 0 {
		if !(rangeSlack(set[f.from-1]) <= f.lo && f.lo <= rangeSlack(set[f.from])) {
			return false
		}
		if f.from == 1 && !(f.lo-set[0] > max(rangeSingle*set[0], rangeSingleW)) {
			return false
		}
	}
	if f.to < last {
		if !(set[f.to]/(1+rangeTolerance) <= f.hi && f.hi <= set[f.to+1]/(1+rangeTolerance)) {
			return false
		}
		if f.to == last-1 && !(set[last]-f.hi > max(rangeSingle*set[last], rangeSingleW)) {
			return false
		}
	}
	return true
}

func rangeSlack(w float64) float64 { return (1 + rangeTolerance) * w }

// runningSums gives the weighted mean and residual sum of squares of any stretch
// of a list in constant time.
type runningSums struct {
	centre                 float64
	weight, first, squares []float64
}

func newRunningSums(y, w []float64) runningSums {
	s := runningSums{
		centre: finiteMean(y), // keeps the squares small
		weight: make([]float64, len(y)+1), first: make([]float64, len(y)+1), squares: make([]float64, len(y)+1),
	}
	for i, v := range y {
		d := v - s.centre
		s.weight[i+1] = s.weight[i] + w[i]
		s.first[i+1] = s.first[i] + w[i]*d
		s.squares[i+1] = s.squares[i] + w[i]*d*d
	}
	return s
}

// fit returns the weighted mean of y[from:to] and the residual sum of squares.
func (s runningSums) fit(from, to int) (mean, rss float64) {
	weight := s.weight[to] - s.weight[from]
	first := s.first[to] - s.first[from]
	rss = s.squares[to] - s.squares[from] - first*first/weight
	return s.centre + first/weight, max(rss, 0)
}
