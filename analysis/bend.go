package analysis

import "math"

// bendLevel is the chance of saying of a straight curve that it bends.
const bendLevel = 0.05

// bendsBeyondNoise tells whether a curve gains less and less from each watt, by more than
// noise: only then its knee is more than the place where noise was largest.
func bendsBeyondNoise(e []estimate) bool { return bendProbability(e) < bendLevel }

// bendProbability is the one-sided p of a curve that is straight, or bends upward,
// in result over watts: the scales on which kneeWatts looks for the knee. e is in
// order of watts. NaN for fewer than 3 settings, or where the noise is unknown.
//
// It is the t-test of the quadratic term beyond a straight line, by least squares
// with weights 1/variance of the means and the variance known from the noise,
//
//	t = -sum w p y / sqrt(sum w p^2),  y = exp(z), w = 1/(y^2 v),
//
// p the quadratic polynomial orthogonal to every straight line under the weights,
// with the least degrees of freedom of the noise. A saturating curve has a negative
// quadratic term, a flat or straight one none. [Snedecor & Cochran 1967,
// Statistical Methods; Draper & Smith 1998, Applied Regression Analysis: both from
// memory; by Gauss's approximation for the variance of y]
func bendProbability(e []estimate) float64 {
	if len(e) < 3 {
		return math.NaN()
	}
	x, y, w := make([]float64, len(e)), make([]float64, len(e)), make([]float64, len(e))
	first, span, top := e[0].watts, e[len(e)-1].watts-e[0].watts, math.Inf(-1)
	for _, p := range e {
		top = max(top, p.z)
	}
	for i, p := range e {
		x[i] = (p.watts - first) / span
		y[i] = math.Exp(p.z - top)
		w[i] = 1 / (y[i] * y[i] * p.v)
	}
	quadratic := orthogonalQuadratic(x, w)
	var sum, squares float64
	for i, p := range quadratic {
		sum += w[i] * p * y[i]
		squares += w[i] * p * p
	}
	return studentUpper(-sum/math.Sqrt(squares), leastDF(e))
}

// orthogonalQuadratic is x^2 less its least squares line over x, with weights w.
func orthogonalQuadratic(x, w []float64) []float64 {
	square := make([]float64, len(x))
	for i, v := range x {
		square[i] = v * v
	}
	line, _ := fitLine(x, square, w)
	for i, v := range x {
		square[i] -= line.intercept + line.slope*v
	}
	return square
}
