package analysis

import "math"

// trendPoint is one setting of a group as the tests along the curve see it.
type trendPoint struct {
	x float64 // place on the axis, ascending
	z float64 // mean logarithm, turned so that more is better
	n int     // runs
}

// span is the number of neighbouring settings in one divided difference. The
// third difference of four points is blind to any local parabola; second
// differences overstate a small noise on a steep curve.
const span = 4

// roughness sums what the third divided differences of a curve say about its
// noise: with rows r_a = sum c_i z_i, scaled so that sum c_i^2/n_i = 1, and
// Q = C diag(1/n) C', the variance of one run is mean r^2 with
// (tr Q)^2 / sum Q_ab^2 degrees of freedom.
// [Hall, Kay & Titterington 1990; Gasser, Sroka & Jennen-Steinmetz 1986; df: Box 1954]
type roughness struct {
	rows    int     // tr Q, as every row is scaled to Q_aa = 1
	squares float64 // sum r^2
	q       float64 // sum Q_ab^2
}

// curveRoughness sums over the points with the given ascending indices.
func curveRoughness(points []trendPoint, active []int) roughness {
	var sum roughness
	var last [span - 1][span]float64 // rows that overlap the present one
	for a := 0; a+span <= len(active); a++ {
		var c [span]float64
		r := differenceRow(points, active[a:a+span], &c)
		sum.rows++
		sum.squares += r * r
		sum.q++
		for back := 1; back < span && back <= a; back++ {
			prev := &last[(a-back)%(span-1)]
			overlap := 0.0
			for i := 0; i+back < span; i++ {
				overlap += prev[i+back] * c[i] / float64(points[active[a+i]].n)
			}
			sum.q += 2 * overlap * overlap
		}
		last[a%(span-1)] = c
	}
	return sum
}

// differenceRow fills the scaled coefficients c and returns sum c_i z_i.
func differenceRow(points []trendPoint, at []int, c *[span]float64) float64 {
	norm := 0.0
	for i := range c {
		product := 1.0
		for k := range c {
			if k != i {
				product *= points[at[i]].x - points[at[k]].x
			}
		}
		c[i] = 1 / product
		norm += c[i] * c[i] / float64(points[at[i]].n)
	}
	norm = math.Sqrt(norm)
	r := 0.0
	for i := range c {
		c[i] /= norm
		r += c[i] * points[at[i]].z
	}
	return r
}

// without gives the sums with the point at the given place of active left out,
// from the sums over all of active. Only rows near the place change.
func (s roughness) without(points []trendPoint, active []int, place int) roughness {
	reach := 2 * (span - 1) // rows through the place, and rows overlapping those
	from, to := max(place-reach, 0), min(place+reach+1, len(active))
	near := active[from:to]
	var rest [4*span - 4]int
	kept := append(append(rest[:0], near[:place-from]...), near[place-from+1:]...)
	old, now := curveRoughness(points, near), curveRoughness(points, kept)
	return roughness{s.rows - old.rows + now.rows, max(s.squares-old.squares+now.squares, 0), s.q - old.q + now.q}
}

// estimate is the variance of one run and its degrees of freedom; 0, 0 where
// there are fewer than four settings.
func (s roughness) estimate() (variance, nu float64) {
	if s.rows <= 0 {
		return 0, 0
	}
	tr := float64(s.rows)
	return s.squares / tr, tr * tr / s.q
}
