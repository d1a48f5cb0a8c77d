package frames

import "math"

// Quantile is the frame time, s, that a fraction p of the frames, 0 to 1, does not
// exceed, by linear interpolation between the order statistics around (n-1)p + 1:
// type 7 of Hyndman & Fan (1996), the default of R's quantile. It is NaN where there
// is no frame. This is the one definition of a percentile of frame times.
func (r Ranked) Quantile(p float64) float64 {
	n := r.Frames()
	if n == 0 {
		return math.NaN()
	}
	h := float64(n-1) * p
	low := min(int64(math.Floor(h)), n-1)
	below := r.At(low + 1)
	if above := r.At(min(low+2, n)); above > below {
		return below + (h-float64(low))*(above-below)
	}
	return below
}
