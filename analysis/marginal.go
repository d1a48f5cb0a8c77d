package analysis

import "math"

// Marginal is what one more watt buys between two neighbouring settings, in
// percent of the result per watt; positive is better, whatever the direction of
// the metric. The interval is pointwise 95 %; Told says that it leaves out zero.
type Marginal struct {
	FromW          Number `json:"from_w"`
	ToW            Number `json:"to_w"`
	PercentPerWatt Number `json:"percent_per_watt"`
	Lower          Number `json:"lower"`
	Upper          Number `json:"upper"`
	Told           bool   `json:"told"` // the gain is more than noise
}

// marginal returns the gains between neighbouring settings with known watts:
//
//	100 (exp(d) - 1) / (w2 - w1),  d = z2 - z1,
//
// z the mean ln result (its negative where lower is better), with the interval
// of d, d +- t_{0.975, nu} sqrt(V1/n1 + V2/n2) and Welch's degrees of freedom,
// carried through the same formula, which rises with d and so keeps its
// coverage. [Welch 1947; Satterthwaite 1946; the formula is ours]
func marginal(points []estimate) []Marginal {
	out := []Marginal{}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		span := b.watts - a.watts
		if !(span > 0) {
			continue
		}
		d := b.z - a.z
		v, nu := welch(a, b)
		half := twoSided(nu) * math.Sqrt(v)
		perWatt := func(d float64) Number { return Number(100 * math.Expm1(d) / span) }
		m := Marginal{
			FromW: Number(a.watts), ToW: Number(b.watts),
			PercentPerWatt: perWatt(d), Lower: perWatt(d - half), Upper: perWatt(d + half),
		}
		m.Told = m.Lower > 0 || m.Upper < 0
		out = append(out, m)
	}
	return out
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

// estimates joins the means of cells with their noise. With n the runs, turned
// says that the cells' logarithms are those of a quantity where less is better.
func estimates(cells []Cell, noise Noise, lowerIsBetter bool) []estimate {
	out := make([]estimate, len(cells))
	for j, c := range cells {
		z := c.Mean()
		if lowerIsBetter {
			z = -z
		}
		out[j] = estimate{
			watts: c.SettingW, x: c.X, z: z, n: c.N(),
			v: noise.Cells[j].V / float64(c.N()), nu: noise.Cells[j].Nu,
		}
	}
	return out
}
