package analysis

import "math"

const (
	flatPenalty = 2    // in ln m for each setting that is not part of the flat start
	cornerLevel = 0.01 // chance of taking a concave curve for one with an ignored start
	cornerReach = 3    // settings after the flat start that measure the slope there
)

// resultRange is what results alone say of the settings a device follows.
type resultRange struct {
	ignored int     // leading settings that it does not follow: 0, or at least 2
	lo      float64 // the floor on the scale of set watts; NaN where there is none
	flat    bool    // the results do not respond to the setting at all
}

// rangeFromResults looks for ignored low settings in the results alone, for
// groups without a sensor of package power. e is in order of setting, with
// departed settings left out.
//
// Settings below a floor all give the result of the floor. A rising, saturating
// curve is concave in ln result over ln watts and never starts flat, so a flat
// start followed by a rise is a corner that only a floor explains:
//
//  1. The flat start is the number i of leading settings that minimises
//     sum_{j<=i} (z_j - c_i)^2 / v_j + 2 (m - i) ln m, c_i their weighted mean
//     [the idea of Schwarz 1978, with twice the penalty as in effectiveRange].
//  2. It is believed if the slope of z over x from setting i through the next
//     three exceeds the slope within the start, both by least squares: one-sided
//     t with the least nu, p < 0.01. For a concave curve the difference of the
//     slopes is at most zero, so the test is conservative there.
//  3. The floor is where the line through the first two settings of the rise
//     meets c_i, held between the settings it lies between. As the curve is
//     concave this errs to the low side.
//
// One ignored setting cannot be told from a dip of its neighbour, and at the high
// end a cap looks like a workload that needs no more: neither is claimed. The
// procedure is ours; how often it is right: TestStudyRangeFromResults.
func rangeFromResults(e []estimate) resultRange {
	m := len(e)
	none := resultRange{lo: math.NaN()}
	if m < leastResultsForRange {
		return none
	}
	for _, p := range e {
		if !(p.v > 0) || !(p.nu > 0) {
			return none // without noise nothing is flat
		}
	}
	i, level := flatStart(e)
	if i == m {
		none.flat = true
		return none
	}
	if i < 2 || !(cornerProbability(e, i) < cornerLevel) {
		return none
	}
	return resultRange{ignored: i, lo: floorFromRise(e, i, level)}
}

// flatStart returns the number of leading settings that are best taken as equal,
// and their weighted mean.
func flatStart(e []estimate) (size int, level float64) {
	penalty := flatPenalty * math.Log(float64(len(e)))
	least := math.Inf(1)
	var weight, mean, squares float64
	for j, p := range e {
		w := 1 / p.v
		weight += w
		step := p.z - mean
		mean += step * w / weight
		squares += w * step * (p.z - mean)
		if cost := squares + penalty*float64(len(e)-j-1); cost < least {
			size, level, least = j+1, mean, cost
		}
	}
	return size, level
}

// cornerProbability is the one-sided p of the slope after the first i settings
// being no steeper than the slope among them.
func cornerProbability(e []estimate, i int) float64 {
	contrast := make([]float64, len(e))
	addSlope(contrast, e, i-1, min(i+cornerReach, len(e)), 1)
	addSlope(contrast, e, 0, i, -1)
	var bend, v float64
	nu := math.Inf(1)
	for j, a := range contrast {
		bend += a * e[j].z
		v += a * a * e[j].v
		nu = min(nu, e[j].nu)
	}
	return studentUpper(bend/math.Sqrt(v), nu)
}

// addSlope adds sign times the coefficients of the least squares slope over
// settings from..to-1.
func addSlope(contrast []float64, e []estimate, from, to int, sign float64) {
	var centre, spread float64
	for _, p := range e[from:to] {
		centre += p.x / float64(to-from)
	}
	for _, p := range e[from:to] {
		spread += (p.x - centre) * (p.x - centre)
	}
	for j := from; j < to; j++ {
		contrast[j] += sign * (e[j].x - centre) / spread
	}
}

// floorFromRise extends the rise after the first i settings down to their level.
func floorFromRise(e []estimate, i int, level float64) float64 {
	lowest, highest := e[i-1].watts, e[i].watts
	if i+1 >= len(e) {
		return math.NaN()
	}
	slope := (e[i+1].z - e[i].z) / (e[i+1].x - e[i].x)
	if !(slope > 0) {
		return math.NaN()
	}
	return min(max(math.Exp(e[i].x-(e[i].z-level)/slope), lowest), highest)
}
