package analysis

import "math"

// contrast is one setting of two sides: the difference of their mean
// logarithms, and what is known of its error. Unknown numbers are NaN.
type contrast struct {
	watts        float64 // on the axis; NaN for a named setting
	name         string
	x            float64
	nA, nB       int
	meanA, meanB float64 // mean logarithms
	d            float64 // meanA - meanB
	va, vb       float64 // variances of the means
	nuA, nuB     float64
	perRun       float64 // variance of one run of a plus one of b
	se, nu       float64

	t            float64 // d/se
	lower, upper float64 // simultaneous bounds of d
	p            float64
	verdict      Verdict
	more         *int
	followed     *bool // by both sides; nil where that is not known
}

func (c *contrast) shared() bool { return c.nA > 0 && c.nB > 0 }

// measure fills in the standard error of the difference.
// [Welch 1947; Satterthwaite 1946]
func (c *contrast) measure() {
	c.d = c.meanA - c.meanB
	c.se = math.Sqrt(c.va + c.vb)
	c.nu = satterthwaite([]float64{c.va, c.vb}, []float64{c.nuA, c.nuB})
}

// satterthwaite is the degrees of freedom of a sum of variances; +Inf where all
// of them are known, NaN where one is not. [Satterthwaite 1946; JCGM 100 G.4]
func satterthwaite(v, nu []float64) float64 {
	sum, below := 0.0, 0.0
	for i := range v {
		sum += v[i]
		below += v[i] * v[i] / nu[i]
	}
	return sum * sum / below
}

// effect is a mean difference of logarithms with its standard error.
type effect struct{ d, se, nu float64 }

// interval is the two-sided t interval.
func (e effect) interval(confidence float64) (lower, upper float64) {
	half := studentQuantile((1+confidence)/2, e.nu) * e.se
	if !(e.nu >= leastNu) {
		half = math.NaN()
	}
	return e.d - half, e.d + half
}

func (k *contrast) fillA(sample sample) {
	k.watts, k.name, k.nA, k.meanA = sample.watts, sample.name, sample.n(), sample.mean()
}

func (k *contrast) fillB(sample sample) {
	k.watts, k.name, k.nB, k.meanB = sample.watts, sample.name, sample.n(), sample.mean()
}

// meanContrast is the mean difference over the shared settings that count, with the
// largest degrees of freedom found on each side; d is NaN without such a setting.
func meanContrast(contrasts []contrast, counts func(*contrast) bool) effect {
	var e effect
	var va, vb, nuA, nuB, m float64
	for i := range contrasts {
		if k := &contrasts[i]; k.shared() && counts(k) {
			e.d += k.d
			va, vb = va+k.va, vb+k.vb
			nuA, nuB = math.Max(nuA, k.nuA), math.Max(nuB, k.nuB)
			m++
		}
	}
	e.d /= m
	e.se = math.Sqrt(va+vb) / m
	e.nu = satterthwaite([]float64{va, vb}, []float64{nuA, nuB})
	return e
}
