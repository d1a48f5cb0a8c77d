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
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(p)
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
