package analysis

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// confidence of every interval that is not said to be another.
const confidence = 0.95

// studentQuantile returns the p-quantile (0 < p < 1) of Student's t with nu > 0
// degrees of freedom; the normal quantile where nu is infinite, NaN where it is
// not positive.
func studentQuantile(p, nu float64) float64 {
	switch {
	case math.IsInf(nu, 1):
		return distuv.UnitNormal.Quantile(p)
	case !(nu > 0):
		return math.NaN()
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}
	if x, ok := studentTailQuantile(t, min(p, 1-p)); ok {
		return math.Copysign(x, p-0.5)
	}
	return t.Quantile(p)
}

// studentTailQuantile solves P(T > x) = q for q up to a half by Newton's method,
// an order of magnitude faster than the library's inversion. It starts from the
// expansion of the quantile in 1/nu (Abramowitz & Stegun 26.7.5) and gives up
// where that does not hold.
func studentTailQuantile(t distuv.StudentsT, q float64) (x float64, ok bool) {
	if t.Nu < 2 {
		return 0, false
	}
	z := -distuv.UnitNormal.Quantile(q)
	x = z + (z*z*z+z)/(4*t.Nu) + (5*z*z*z*z*z+16*z*z*z+3*z)/(96*t.Nu*t.Nu)
	if t.Nu > 1e6 {
		return x, true // what is left out falls with 1/nu^3
	}
	for range 60 {
		step := (t.CDF(-x) - q) / t.Prob(x)
		x += step
		if math.Abs(step) <= 1e-12*(1+x) {
			return max(x, 0), true
		}
	}
	return 0, false
}

// twoSided returns the t that a two-sided interval of the package's confidence
// takes.
func twoSided(nu float64) float64 { return studentQuantile((1+confidence)/2, nu) }

// studentUpper returns P(T > t) for Student's t with nu degrees of freedom
// (normal where nu is infinite), without cancellation for large t. NaN in, NaN out.
func studentUpper(t, nu float64) float64 {
	switch {
	case math.IsNaN(t) || !(nu > 0):
		return math.NaN()
	case math.IsInf(nu, 1):
		return math.Erfc(t/math.Sqrt2) / 2
	case math.IsInf(t, 0):
		return distuv.UnitNormal.CDF(-t)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.CDF(-t)
}
