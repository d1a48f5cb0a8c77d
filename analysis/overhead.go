package analysis

import "math"

// line is a straight line fitted by weighted least squares, with its terms.
type line struct {
	intercept, slope     float64
	seIntercept, seSlope float64
	covariance           float64 // of intercept and slope
	residualSD           float64 // sqrt(sum w r^2 / df), in y for weights of 1
	df                   float64 // points - 2
}

// fitLine fits y = intercept + slope x by least squares with weights w, which
// must be positive: proportional to 1/variance. ok is false for fewer than three
// points or fewer than two distinct x, and if the numbers overflow.
//
// Source: any text on regression, for the weights Carroll & Ruppert 1988.
func fitLine(x, y, w []float64) (fit line, ok bool) {
	if len(x) < 3 {
		return line{}, false
	}
	var total, mx, my float64
	for i := range x {
		total += w[i]
		mx += (x[i] - mx) * (w[i] / total)
		my += (y[i] - my) * (w[i] / total)
	}
	var sxx, sxy float64
	for i := range x {
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
	}
	if !distinct(x) || !(sxx > 0) {
		return line{}, false
	}
	fit.slope = sxy / sxx
	fit.intercept = my - fit.slope*mx
	fit.df = float64(len(x) - 2)
	var rss float64
	for i := range x {
		r := (y[i] - my) - fit.slope*(x[i]-mx)
		rss += w[i] * r * r
	}
	s2 := rss / fit.df
	fit.residualSD = math.Sqrt(s2)
	fit.seSlope = math.Sqrt(s2 / sxx)
	fit.seIntercept = math.Sqrt(s2 * (1/total + mx*mx/sxx))
	fit.covariance = -s2 * mx / sxx
	return fit, finite(fit.intercept) && finite(fit.slope) && finite(fit.seIntercept) && finite(fit.seSlope)
}

// at returns the height of the line at x and its standard error.
func (l line) at(x float64) (y, se float64) {
	v := l.seIntercept*l.seIntercept + 2*x*l.covariance + x*x*l.seSlope*l.seSlope
	return l.intercept + l.slope*x, math.Sqrt(max(v, 0))
}

func distinct(x []float64) bool {
	for _, v := range x[1:] {
		if v != x[0] {
			return true
		}
	}
	return false
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
