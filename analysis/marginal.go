package analysis

import "math"

// Marginal is what one more watt buys between two neighbouring settings, in
// percent of the result per watt; positive is better, whatever the direction of
// the metric. The intervals of a curve's steps hold all together with 95 %; Significant
// says that this step's leaves out zero, so that of all steps of a flat curve one
// is called a gain or a loss in about 5 % of curves (TestFlatCurveGainsNothing).
type Marginal struct {
	FromW          Number `json:"from_w"`
	ToW            Number `json:"to_w"`
	PercentPerWatt Number `json:"percent_per_watt"`
	Lower          Number `json:"lower"`
	Upper          Number `json:"upper"`
	Significant    bool   `json:"told"` // the gain is more than noise
}

// marginal returns the gains between neighbouring settings with known watts:
//
//	100 (exp(d) - 1) / (w2 - w1),  d = z2 - z1,
//
// z the mean ln result (its negative where lower is better), with the interval
// of d, d +- q2(0.95; m-1, least nu) sqrt(V1/n1 + V2/n2), carried through the same
// formula, which rises with d and so keeps its coverage. q2 is the studentised
// maximum modulus for the m-1 steps: neighbouring steps share a setting, and by
// Sidak's inequality a critical value for independent ones holds for any that
// depend on each other. The least degrees of freedom, and not Welch's, because the
// settings share one estimate of the noise; it also keeps a step from being told
// whose lower end cannot be told from the best (bestCritical is smaller).
// [Sidak 1967; Stoline & Ury 1979; Hochberg & Tamhane 1987; the formula is ours]
func marginal(points []estimate) []Marginal {
	out := []Marginal{}
	critical := jointCritical(len(points)-1, leastDF(points))
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		span := b.watts - a.watts
		if !(span > 0) {
			continue
		}
		d := b.z - a.z
		half := critical * math.Sqrt(a.v+b.v)
		perWatt := func(d float64) Number { return Number(100 * math.Expm1(d) / span) }
		m := Marginal{
			FromW: Number(a.watts), ToW: Number(b.watts),
			PercentPerWatt: perWatt(d), Lower: perWatt(d - half), Upper: perWatt(d + half),
		}
		m.Significant = m.Lower > 0 || m.Upper < 0
		out = append(out, m)
	}
	return out
}

// jointCritical is the critical value of so many two-sided intervals that hold
// together; NaN without intervals or degrees of freedom.
func jointCritical(intervals int, nu float64) float64 {
	if intervals < 1 || !(nu > 0) {
		return math.NaN()
	}
	return newMaxModulus(intervals, nu).twoSided(confidence)
}

// leastDF is the least degrees of freedom among estimates.
func leastDF(e []estimate) float64 {
	nu := math.Inf(1)
	for _, x := range e {
		nu = min(nu, x.nu)
	}
	return nu
}

// estimate is the mean of a cell with its terms.
type estimate struct {
	watts float64 // NaN for a named setting
	x     float64 // place on the axis
	z     float64 // mean logarithm, turned so that more is better
	n     int
	v     float64 // variance of the mean; NaN where unknown
	nu    float64 // its degrees of freedom
}

// interval is the pointwise interval of z; NaN where the noise is unknown.
func (e estimate) interval() (lower, upper float64) {
	half := twoSided(e.nu) * math.Sqrt(e.v)
	return e.z - half, e.z + half
}

// welch is the variance of the difference of two estimates and its degrees of
// freedom.
func welch(a, b estimate) (v, nu float64) {
	return a.v + b.v, satterthwaite([]float64{a.v, b.v}, []float64{a.nu, b.nu})
}

// estimates joins the means of samples with their noise. Where less of the quantity
// is better, means are turned so that more is better.
func estimates(samples []sample, noise noiseEstimate, lowerIsBetter bool) []estimate {
	out := make([]estimate, len(samples))
	for j, s := range samples {
		z := s.mean()
		if lowerIsBetter {
			z = -z
		}
		out[j] = estimate{
			watts: s.watts, x: s.x, z: z, n: s.n(),
			v: noise.settings[j].v / float64(s.n()), nu: noise.settings[j].nu,
		}
	}
	return out
}
