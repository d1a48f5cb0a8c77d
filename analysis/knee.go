package analysis

import "math"

// enoughWatts returns the smallest setting whose value reaches the given share
// (0 to 1) of the largest value; y is positive and belongs to the settings w,
// both in ascending order of w. NaN when there is no setting.
func enoughWatts(w, y []float64, share float64) float64 {
	most := math.Inf(-1)
	for _, v := range y {
		most = max(most, v)
	}
	for i, v := range y {
		if v >= share*most {
			return w[i]
		}
	}
	return math.NaN()
}

// kneeWatts returns the setting at which a rising curve has gained most of what
// it will gain for the least part of the watts: the largest difference between
// the curve and the straight line through its ends, both scaled to 0..1, on the
// settings tested and without smoothing; the first one if tied. w is strictly
// ascending, y non-decreasing. NaN for fewer than 3 settings or if y never rises.
//
// It is a description of the tested settings and carries no interval: another
// choice of settings has another knee, and even a straight line with noise has one.
// Whether the curve bends at all: bendsBeyondNoise.
//
// Source: Satopaa, Albrecht, Irwin & Raghavan 2011, ICDCS Workshops.
func kneeWatts(w, y []float64) float64 {
	m := len(w)
	if m < 3 {
		return math.NaN()
	}
	rise, span := y[m-1]-y[0], w[m-1]-w[0]
	if !(rise > 0) || !(span > 0) {
		return math.NaN()
	}
	at, largest := math.NaN(), math.Inf(-1)
	for i := range w {
		d := (y[i]-y[0])/rise - (w[i]-w[0])/span
		if d > largest {
			at, largest = w[i], d
		}
	}
	return at
}
