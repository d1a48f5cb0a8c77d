package frames

import "math"

// quantile7 is the quantile p, 0 to 1, by linear interpolation between the order
// statistics around (n-1)p + 1: type 7 of Hyndman & Fan (1996), the default of R's
// quantile.
func (r ranked) quantile7(p float64) float64 {
	n := r.n()
	if n == 0 {
		return math.NaN()
	}
	h := float64(n-1) * p
	low := min(int64(math.Floor(h)), n-1)
	below := r.at(low + 1)
	if above := r.at(min(low+2, n)); above > below {
		return below + (h-float64(low))*(above-below)
	}
	return below
}

// quantile1 is the quantile p, 0 to 1, as the inverse of the empirical distribution:
// the smallest value that at least a share p of all does not exceed: type 1 of
// Hyndman & Fan (1996).
func (r ranked) quantile1(p float64) float64 {
	n := r.n()
	if n == 0 {
		return math.NaN()
	}
	// np may miss a whole number by rounding, as R's own fuzz allows for.
	np := float64(n) * p
	rank := int64(math.Ceil(np - 4*epsilon*math.Max(1, np)))
	return r.at(min(max(rank, 1), n))
}

const epsilon = 1.0 / (1 << 52)
