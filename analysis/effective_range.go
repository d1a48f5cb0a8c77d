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
	search := newClampSearch(set, power, n)
	for i := 0; i <= m-2; i++ {
		for k := 0; k <= m-2-i; k++ {
			if fit, ok := search.fit(i, k); ok && fit.criterion < best.criterion {
				best = fit
			}
		}
	}
	return best
}

// clampSearch holds what the fits of one curve share. Everything is in logarithms.
type clampSearch struct {
	set                 []float64
	ratios, levels      runningSums // of ln power - ln set, and of ln power
	raised, lowered     []float64   // ln of set times and by the tolerance
	leastLow, mostHigh  float64     // beyond which a single ignored setting is believed
	logSettings, weight float64
}

func newClampSearch(set, power, n []float64) clampSearch {
	m := len(set)
	s := clampSearch{set: set, raised: make([]float64, m), lowered: make([]float64, m), logSettings: math.Log(float64(m))}
	ratio, level := make([]float64, m), make([]float64, m)
	for i, w := range set {
		level[i] = math.Log(power[i])
		ratio[i] = level[i] - math.Log(w)
		s.raised[i], s.lowered[i] = math.Log(w*(1+rangeTolerance)), math.Log(w/(1+rangeTolerance))
	}
	s.ratios, s.levels = newRunningSums(ratio, n), newRunningSums(level, n)
	s.weight = s.ratios.weight[m]
	first, last := set[0], set[m-1]
	s.leastLow = math.Log(first + max(rangeSingle*first, rangeSingleW))
	s.mostHigh = math.Log(last - max(rangeSingle*last, rangeSingleW)) // NaN below half a watt: nothing is believed
	return s
}

// fit fits the model with i settings below the range and k above it. ok is false
// if the floor or the cap does not lie between the settings it is said to lie
// between, or too close to a single ignored one.
func (s *clampSearch) fit(i, k int) (fit rangeFit, ok bool) {
	m := len(s.set)
	c, rss := s.ratios.fit(i, m-k)
	lo, hi := math.NaN(), math.NaN()
	parameters := 1.0
	if i > 0 {
		mean, add := s.levels.fit(0, i)
		lo, rss, parameters = mean-c, rss+add, parameters+2
		if !(s.raised[i-1] <= lo && lo <= s.raised[i]) || i == 1 && !(lo > s.leastLow) {
			return rangeFit{}, false
		}
	}
	if k > 0 {
		mean, add := s.levels.fit(m-k, m)
		hi, rss, parameters = mean-c, rss+add, parameters+2
		if !(s.lowered[m-k-1] <= hi && hi <= s.lowered[m-k]) || k == 1 && !(hi < s.mostHigh) {
			return rangeFit{}, false
		}
	}
	return rangeFit{
		from: i, to: m - k - 1, lo: math.Exp(lo), hi: math.Exp(hi), scale: math.Exp(c),
		criterion: float64(m)*math.Log(max(rss/s.weight, rangeNoiseFloor)) + parameters*s.logSettings,
	}, true
}

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
