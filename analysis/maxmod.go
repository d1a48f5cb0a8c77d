package analysis

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// maxModulus is the distribution of the largest of m independent estimates, each
// divided by one common estimate of their SD with nu degrees of freedom:
//
//	P(max|T| <= c) = Int_0^inf (2 Phi(c u) - 1)^m g(u) du,
//	g(u) = 2 (nu/2)^(nu/2) / Gamma(nu/2) u^(nu-1) exp(-nu u^2/2),
//
// the studentised maximum modulus, with g the density of sqrt(chi2_nu/nu). One
// critical value c for m intervals holds all of them at once.
// [Stoline & Ury 1979; Hochberg & Tamhane 1987; for nu = inf Sidak 1967]
type maxModulus struct {
	m, nu   float64
	u       [quadratureNodes]float64 // places of the quadrature
	weight  [quadratureNodes]float64 // its weights times g; unused where the SD is known
	sdKnown bool                     // nu so large that the SD counts as known
}

const (
	quadratureNodes = 128
	quadratureReach = 9.0 // standard deviations of u on either side of 1
	nuKnown         = 1e6

	negligibleWeight = 1e-17 // nodes so far out that they cannot change a probability
)

// unitLegendre is the Gauss-Legendre rule on [-1, 1].
var unitLegendre = sync.OnceValue(func() (rule struct{ x, w [quadratureNodes]float64 }) {
	quad.Legendre{}.FixedLocations(rule.x[:], rule.w[:], -1, 1)
	return rule
})

// newMaxModulus prepares the distribution for m >= 1 estimates and nu > 0
// degrees of freedom (+Inf where the SD is known).
func newMaxModulus(m int, nu float64) *maxModulus {
	d := &maxModulus{m: math.Max(float64(m), 1), nu: nu, sdKnown: nu > nuKnown}
	if d.sdKnown || m <= 1 {
		return d
	}
	rule := unitLegendre()
	h := quadratureReach / math.Sqrt(2*nu)
	from, to := math.Max(0, 1-h), 1+h
	centre, half := (from+to)/2, (to-from)/2
	gamma, _ := math.Lgamma(nu / 2)
	log0 := math.Ln2 + nu/2*math.Log(nu/2) - gamma
	for i := range d.u {
		u := centre + half*rule.x[i]
		d.u[i] = u
		d.weight[i] = half * rule.w[i] * math.Exp(log0+(nu-1)*math.Log(u)-nu*u*u/2)
	}
	return d
}

// twoSided returns c with P(max|T| <= c) = p, 0 < p < 1.
func (d *maxModulus) twoSided(p float64) float64 { return d.quantile(p, 2) }

// oneSided returns c with P(max T <= c) = p, 0.5 <= p < 1.
func (d *maxModulus) oneSided(p float64) float64 { return d.quantile(p, 1) }

// quantile solves for c by Newton's method kept inside a shrinking bracket.
func (d *maxModulus) quantile(p, sides float64) float64 {
	each := -math.Expm1(math.Log(p)/d.m) / sides // the tail left to one estimate [Sidak 1967]
	if d.m == 1 && !d.sdKnown {
		return -studentQuantile(each, d.nu)
	}
	z := -distuv.UnitNormal.Quantile(each)
	if d.sdKnown {
		return z
	}
	low, high := 0.0, math.Inf(1)
	c := z + (z*z*z+z)/(4*d.nu) // Student's t, first term of its expansion
	for range 200 {
		below, density := d.probability(c, sides)
		if below < p {
			low = c
		} else {
			high = c
		}
		next := c - (below-p)/density
		if !(next > low && next < high) {
			next = (low + math.Min(high, 2*low+1)) / 2
		}
		if math.Abs(next-c) <= 1e-13*c {
			return next
		}
		c = next
	}
	return c
}

// probability is P(max <= c) and its derivative.
func (d *maxModulus) probability(c, sides float64) (p, density float64) {
	for i, w := range d.weight {
		if w < negligibleWeight {
			continue
		}
		u := d.u[i]
		below := 1 - sides/2*math.Erfc(c*u/math.Sqrt2)
		others := w * power(below, int(d.m)-1) // all but one of the estimates lie below
		p += others * below
		density += others * d.m * sides * u * math.Exp(-c*c*u*u/2) / math.Sqrt(2*math.Pi)
	}
	return p, density
}

// power is x^n for n >= 0 by repeated squaring: several times faster than
// math.Pow, and the quantile spends its time here.
func power(x float64, n int) float64 {
	result := 1.0
	for ; n > 0; n >>= 1 {
		if n&1 == 1 {
			result *= x
		}
		x *= x
	}
	return result
}

// adjusted is P(max|T| >= |t|): the p-value of one of m estimates, adjusted for
// having looked at all of them. Exact in the far tail.
func (d *maxModulus) adjusted(t float64) float64 {
	t = math.Abs(t)
	switch {
	case math.IsNaN(t):
		return t
	case d.sdKnown:
		return -math.Expm1(d.m * math.Log1p(-math.Erfc(t/math.Sqrt2)))
	case d.m == 1:
		return 2 * studentUpper(t, d.nu)
	}
	p := 0.0
	for i, w := range d.weight {
		if w != 0 {
			p -= w * math.Expm1(d.m*math.Log1p(-math.Erfc(t*d.u[i]/math.Sqrt2)))
		}
	}
	return math.Min(p, 1)
}
