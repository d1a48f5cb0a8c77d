package analysis

import (
	"math"
	"slices"
)

// rounding is the relative difference below which logarithms count as equal, so
// that equal repeats do not look like a tiny noise of their own.
const rounding = 1e-12

// repeats summarises the repeats in every cell of a group.
type repeats struct {
	u  [][]float64 // |deviation| of every run, scaled to the SD of one run; empty where n < 2
	q  []float64   // largest u of the cell; 0 where n < 2
	ss []float64   // sum of squared deviations
	df []float64   // n - 1
}

func newRepeats(samples []sample) repeats {
	m := len(samples)
	r := repeats{make([][]float64, m), make([]float64, m), make([]float64, m), make([]float64, m)}
	for j, s := range samples {
		n := s.n()
		if n < 2 {
			continue
		}
		mean, shrink := s.mean(), math.Sqrt(1-1/float64(n))
		r.u[j] = make([]float64, n)
		for i, z := range s.z {
			if away := math.Abs(z - mean); away > rounding*math.Max(1, math.Abs(mean)) {
				r.u[j][i] = away / shrink
			}
		}
		r.q[j] = slices.Max(r.u[j])
		r.ss[j] = s.sumOfSquares()
		r.df[j] = float64(n - 1)
	}
	return r
}

// scale is the robust SD of one run in cells from..to-1, and how many values
// it rests on. [Hampel 1974]
func (r repeats) scale(from, to int) (sigma float64, values int) {
	all := slices.Concat(r.u[from:to]...)
	if len(all) == 0 {
		return scaleFloor, 0
	}
	return math.Max(scaleFactor*Median(all), scaleFloor), len(all)
}

// scales gives every cell its scale: one for all, or the window's own where
// noise changes along the settings.
func (r repeats) scales() (scales []float64, windowed bool) {
	m := len(r.q)
	sigma, _ := r.scale(0, m)
	scales = slices.Repeat([]float64{sigma}, m)
	windowed = r.noiseChanges(sigma)
	if windowed {
		for j := range scales {
			if local, values := r.scale(window(j, m)); values >= windowMinU {
				scales[j] = local
			}
		}
	}
	return scales, windowed
}

// window is the range from..to-1 of the seven cells around j.
func window(j, m int) (from, to int) {
	from = max(min(j-windowCells/2, m-windowCells), 0)
	return from, min(from+windowCells, m)
}

// noiseChanges tests whether the lowest third of the repeated settings has another
// noise than the highest third, with odd values pulled in so that one bad run
// does not decide. [Goldfeld & Quandt 1965, winsorised]
func (r repeats) noiseChanges(sigma float64) bool {
	var repeated []int
	for j, df := range r.df {
		if df > 0 {
			repeated = append(repeated, j)
		}
	}
	k := len(repeated) / 3
	if k < 2 {
		return false
	}
	low, dfLow := r.winsorised(repeated[:k], sigma)
	high, dfHigh := r.winsorised(repeated[len(repeated)-k:], sigma)
	if low == 0 || high == 0 {
		return low != high
	}
	below := fProbability(low/high, dfLow, dfHigh)
	return 2*math.Min(below, 1-below) < windowLevel
}

func (r repeats) winsorised(settings []int, sigma float64) (variance, df float64) {
	for _, j := range settings {
		sum := 0.0
		for _, u := range r.u[j] {
			u = math.Min(u, isolateAt*sigma)
			sum += u * u
		}
		n := float64(len(r.u[j]))
		variance += (1 - 1/n) * sum
		df += r.df[j]
	}
	return variance / df, df
}

// pool is a variance of one run from several cells.
type pool struct {
	s2, nu float64
	df     float64 // sum of n - 1, before blocks took their share
	window bool
}

// pools gives every cell the pool it belongs to, and the pool of all cells.
// Isolated cells stay out, unless they hold most of what is known.
func (r repeats) pools(isolated []bool, windowed bool, kappa float64) (each []pool, global pool) {
	total, apart := 0.0, 0.0
	for j, df := range r.df {
		total += df
		if isolated[j] {
			apart += df
		}
	}
	divisor := truncation
	if apart > total/2 {
		isolated, windowed, divisor = make([]bool, len(isolated)), false, 1
	}
	m := len(r.df)
	global = r.pool(0, m, isolated, divisor, kappa)
	each = slices.Repeat([]pool{global}, m)
	if windowed {
		for j := range each {
			from, to := window(j, m)
			if local := r.pool(from, to, isolated, divisor, kappa); local.nu >= windowMinNu {
				local.window = true
				each[j] = local
			}
		}
	}
	return each, global
}

// pool joins the cells from..to-1. Blocks have taken 1 - kappa of the degrees of
// freedom and with them that share of the squares, so both count kappa times:
// without that, five passes over one setting held in 88 % instead of 95 %
// (TestBlocksSmallCampaign).
func (r repeats) pool(from, to int, isolated []bool, divisor, kappa float64) pool {
	var p pool
	ss := 0.0
	for k := from; k < to; k++ {
		if !isolated[k] {
			ss += r.ss[k]
			p.df += r.df[k]
		}
	}
	if p.nu = kappa * p.df; p.nu > 0 {
		p.s2 = ss / p.nu / divisor
	}
	return p
}
