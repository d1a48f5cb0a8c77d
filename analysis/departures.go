package analysis

import "math"

const (
	departureLevel = 0.05 // chance of any false departure in one curve
	risenLevel     = 0.99 // one-sided confidence that a setting lies above the first
	leastForTrend  = 4    // settings left below which nothing departs
	leastTrendNu   = 2.0  // degrees of freedom below which a setting is not tested
)

// findDepartures finds settings that fall below a rising trend. It is a departureTest.
//
// A setting is tested against the one before it, and against chords: a rising,
// saturating curve is concave in ln result over ln watts, so a true point lies
// above a chord between neighbours. Chords start only at settings that lie
// measurably above the first, so that the corner where an ignored range ends is
// not taken for a dip. The worst setting is taken out and the rest are tested
// again, as long as it is significant after Bonferroni, at least four settings
// are left and at most a quarter has been taken out. Settings whose noise has
// fewer than two degrees of freedom are not tested. In order of discovery; the
// adjustment is that of the round in which a setting was found.
//
// Source: Bonferroni; Holm 1979 for the repetition. How often it misses and how
// often it is wrong: TestStudyCurve.
func findDepartures(points []trendPoint, levels trendNoise) []departure {
	return departuresAmong(0)(points, levels)
}

// departuresAmong is findDepartures where so many tests are made elsewhere, on other
// curves, and the chance of any false departure is that of all of them together.
func departuresAmong(others int) departureTest {
	return func(points []trendPoint, levels trendNoise) []departure {
		return fallBelow(points, levels, others)
	}
}

func fallBelow(points []trendPoint, levels trendNoise, others int) []departure {
	active := allIndices(len(points))
	var found []departure
	for len(active) >= leastForTrend && len(found) < len(points)/4 {
		worst, tests := worstSetting(points, active, levels(active))
		tests += others
		if worst.index < 0 || !(worst.p*float64(tests) < departureLevel) {
			break
		}
		found = append(found, departure{
			setting:   worst.index,
			change:    math.Expm1(-worst.below),
			pAdjusted: worst.p * float64(tests),
			lower:     math.Expm1(-worst.below - worst.half(tests)),
			upper:     math.Expm1(-worst.below + worst.half(tests)),
		})
		active = without(active, worst.index)
	}
	return found
}

// trendTest is the outcome of one test: by how much (in ln) the setting lies
// below what it was tested against, and the one-sided p.
type trendTest struct {
	index    int
	below, p float64
	v, nu    float64 // variance of below, and its degrees of freedom
}

// half is how far bounds of below lie from it, each of which holds with 95 % in so many
// tests together.
func (t trendTest) half(tests int) float64 {
	return studentQuantile(1-departureLevel/float64(tests), t.nu) * math.Sqrt(t.v)
}

// worstSetting runs all tests over the active settings and returns the one of
// the smallest p, with the number of tests; index is -1 when there was none.
func worstSetting(points []trendPoint, active []int, level func(j, k int) (v, nu float64)) (trendTest, int) {
	worst, tests := trendTest{index: -1, p: math.Inf(1)}, 0
	for pos := 1; pos < len(active); pos++ {
		t := trend{points, active, pos, level}
		if _, nu := t.noise(pos); !(nu >= leastTrendNu) {
			continue
		}
		for _, r := range append(t.chords(), t.drop()) {
			tests++
			if r.p < worst.p {
				worst = r
			}
		}
	}
	return worst, tests
}

// trend is the curve as the tests of the active setting at pos see it.
type trend struct {
	points []trendPoint
	active []int
	pos    int
	level  func(j, k int) (v, nu float64)
}

// point is the place of the active setting at pos.
func (t trend) point(pos int) trendPoint { return t.points[t.active[pos]] }

// noise is the variance of the mean at the active setting at pos.
func (t trend) noise(pos int) (v, nu float64) {
	v, nu = t.level(t.active[t.pos], t.active[pos])
	return v / float64(t.point(pos).n), nu
}

// drop tests the setting against the active one before it.
func (t trend) drop() trendTest {
	return t.below([]int{t.pos - 1}, []float64{1})
}

// chords tests the setting against chords between its neighbours.
func (t trend) chords() []trendTest {
	pos := t.pos
	if pos < 2 || pos == len(t.active)-1 || !t.risen(pos-1) {
		return nil
	}
	tests := []trendTest{t.chord(pos-1, pos+1)}
	if t.risen(pos - 2) {
		tests = append(tests, t.chord(pos-2, pos+1))
	}
	if pos+2 < len(t.active) {
		tests = append(tests, t.chord(pos-1, pos+2))
	}
	return tests
}

func (t trend) chord(from, to int) trendTest {
	a, b := t.point(from), t.point(to)
	w := (t.point(t.pos).x - a.x) / (b.x - a.x)
	return t.below([]int{from, to}, []float64{1 - w, w})
}

// below tests the setting against the weighted sum of others.
func (t trend) below(others []int, weights []float64) trendTest {
	v, nu := t.noise(t.pos)
	below := -t.point(t.pos).z
	for i, pos := range others {
		vi, nui := t.noise(pos)
		below += weights[i] * t.point(pos).z
		v += weights[i] * weights[i] * vi
		nu = min(nu, nui)
	}
	return trendTest{t.active[t.pos], below, studentUpper(below/math.Sqrt(v), nu), v, nu}
}

// risen tells whether the active setting at pos lies measurably above the first.
func (t trend) risen(pos int) bool {
	if pos == 0 {
		return false
	}
	v, nu := t.noise(pos)
	first, nuFirst := t.noise(0)
	rise := (t.point(pos).z - t.point(0).z) / math.Sqrt(v+first)
	return studentUpper(rise, min(nu, nuFirst)) < 1-risenLevel
}

// without returns a copy of the list that lacks one index.
func without(list []int, index int) []int {
	rest := make([]int, 0, len(list))
	for _, i := range list {
		if i != index {
			rest = append(rest, i)
		}
	}
	return rest
}
