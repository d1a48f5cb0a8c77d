package analysis

import (
	"fmt"
	"math"
	"testing"
)

// rangeCase is a device that follows its settings, or does not.
type rangeCase struct {
	name     string
	power    func(w float64) float64 // what it draws when set to w
	from, to float64                 // the settings it follows
	least    func(n int, cv float64) float64
}

// inMost is the share of campaigns that the procedure was published to get right
// (methods, section 10.2), less the tolerance of the simulation.
func inMost(usual, atTwo, singleRun float64) func(n int, cv float64) float64 {
	return func(n int, cv float64) float64 {
		switch {
		case n == 1 && cv == 0.02:
			return singleRun
		case cv == 0.02:
			return atTwo
		}
		return usual
	}
}

// Package watts against set watts. Published: the full range reported in 96 to
// 100 % where there is none (93 % at n = 1, CV 2 %); both ends right in 98 to
// 100 % (at least 97 % at n = 1, CV 2 %); a floor of 6.6 W, above a single
// setting, in only 78 to 96 % at CV 2 % and 93 % at n = 1, CV 1 %.
var rangeCases = []rangeCase{
	{"obeys", obeys, 6, 85, inMost(.96, .96, .93)},
	{"7 % low", func(w float64) float64 { return 0.93 * w }, 6, 85, inMost(.96, .96, .93)},
	{"+0.4 W", func(w float64) float64 { return w + 0.4 }, 6, 85, inMost(.96, .96, .93)},
	{"slope 0.98", func(w float64) float64 { return 0.98 * w }, 6, 85, inMost(.96, .96, .93)},
	{"floor 11 W", clamped(11, 1000), 12, 85, inMost(.98, .98, .97)},
	{"floor 11 W, 5 % low", func(w float64) float64 { return 0.95 * max(w, 11) }, 12, 85, inMost(.98, .98, .97)},
	{"cap 45 W", clamped(0, 45), 6, 40, inMost(.98, .98, .97)},
	{"cap 65 W", clamped(0, 65), 6, 60, inMost(.98, .98, .97)},
	{"floor 6.6 W", clamped(6.6, 1000), 7, 85, func(n int, cv float64) float64 {
		switch {
		case cv == 0.02:
			return .78
		case n == 1 && cv == 0.01:
			return .93
		}
		return .98
	}},
}

var rangeNoise = []struct {
	n  int
	cv float64
}{{1, 0.005}, {1, 0.01}, {1, 0.02}, {2, 0.005}, {2, 0.01}, {2, 0.02}, {3, 0.005}, {3, 0.01}, {3, 0.02}, {5, 0.005}, {5, 0.01}, {5, 0.02}}

// TestStudyEffectiveRange counts how often the range from package watts is right.
func TestStudyEffectiveRange(t *testing.T) {
	campaigns := studySize(200)
	table := &studyTable{t: t}
	for i, noise := range rangeNoise {
		var figures []figure
		for k, c := range rangeCases {
			right := rangeShare(c, i, k, noise.n, noise.cv, campaigns)
			least := c.least(noise.n, noise.cv)
			figures = append(figures, figure{c.name, right, inRange(right, least, 1), ofShare(least, campaigns), 3})
		}
		table.row(fmt.Sprintf("n %d CV %g %%", noise.n, 100*noise.cv), figures)
	}
	table.print("effective range from package watts: share right; the second figure is the nearest in the published range")
}

func rangeShare(c rangeCase, row, column, n int, cv float64, campaigns int) float64 {
	rng := studyRandom(row, 200+column)
	power, runs := make([]float64, len(studyWatts)), make([]float64, len(studyWatts))
	right := 0.0
	for range campaigns {
		for j, w := range studyWatts {
			sum := 0.0
			for range n {
				sum += c.power(w) * math.Exp(cv*rng.NormFloat64())
			}
			power[j], runs[j] = sum/float64(n), float64(n)
		}
		fit := effectiveRange(studyWatts, power, runs)
		right += share(studyWatts[fit.from] == c.from && studyWatts[fit.to] == c.to)
	}
	return right / float64(campaigns)
}

// resultRangeCases are devices and workloads without a sensor of package power,
// and the first setting that they follow.
var resultRangeCases = []struct {
	name string
	f    func(w float64) float64
	from float64
}{
	{"obeys", saturating, 6},
	{"dip", dip(map[float64]float64{20: 0.06}), 6},
	{"gentle", func(w float64) float64 { return 100 * math.Pow(w, 0.1) }, 6}, // a straight line in ln-ln: the least concave
	{"deaf", func(float64) float64 { return 100 }, 6},
	{"floor 11 W", func(w float64) float64 { return saturating(max(w, 11)) }, 12},
	{"floor 8.5 W", func(w float64) float64 { return saturating(max(w, 8.5)) }, 9},
	{"floor and cap", func(w float64) float64 { return saturating(clamped(11, 45)(w)) }, 12},
}

// resultRangeRow is what the range from results alone gets right, with 2000
// campaigns by this study: the procedure is ours, so there is nothing published.
// Shares of campaigns with the right first setting, by case; then the mean
// |error| in W of the floor of 11 W.
type resultRangeRow struct {
	n     int
	cv    float64
	right [7]float64
	miss  float64
}

// TestStudyRangeFromResults counts how often the range from results alone is
// right. A floor that is not there is an error and is held to 5 %; one that is
// missed is not.
func TestStudyRangeFromResults(t *testing.T) {
	campaigns := studySize(60)
	table := &studyTable{t: t}
	for i, row := range resultRangeTable {
		if !*studyFull && row.cv != 0.01 {
			continue
		}
		var figures []figure
		miss := math.NaN()
		for k, c := range resultRangeCases {
			right, off := resultRangeShare(t, i, k, row.n, row.cv, campaigns)
			figures = append(figures, figure{c.name, right, row.right[k], ofShare(row.right[k], campaigns), 3})
			if c.from == 6 && right < 0.95-ofShare(0.95, campaigns) {
				t.Errorf("n %d CV %g, %s: a floor that is not there in %.1f %% of campaigns", row.n, row.cv, c.name, 100*(1-right))
			}
			if c.name == "floor 11 W" {
				miss = off
			}
		}
		figures = append(figures, figure{"error W", miss, row.miss, ofWatts(row.miss, campaigns), 2})
		table.row(fmt.Sprintf("n %d CV %g %%", row.n, 100*row.cv), figures)
	}
	table.print("effective range from results alone (the second figure is an earlier run of this study)")
}

// resultRangeShare is the share of campaigns with the right first setting, and
// the mean |error| of the floor against 11 W where one was found.
func resultRangeShare(t *testing.T, row, column, n int, cv float64, campaigns int) (right, miss float64) {
	c := resultRangeCases[column]
	simulation := newCurveCampaign(studyRandom(row, 300+column), studyWatts, n)
	found := 0.0
	for range campaigns {
		e := curveOf(t, simulation.draw(cv, c.f, nil, 0)).Effective
		right += share(float64(e.FromW) == c.from)
		if e.FloorW.Known() {
			found++
			miss += math.Abs(float64(e.FloorW) - 11)
		}
	}
	return right / float64(campaigns), miss / max(found, 1)
}

var resultRangeTable = []resultRangeRow{
	{1, 0.005, [7]float64{1, 1, .990, .997, .987, .997, .991}, .16},
	{1, 0.01, [7]float64{1, 1, .985, .997, .967, .924, .969}, .28},
	{1, 0.02, [7]float64{1, 1, .982, .993, .680, .459, .680}, .65},
	{2, 0.005, [7]float64{1, 1, .992, .994, .944, .952, .942}, .19},
	{2, 0.01, [7]float64{1, 1, .981, .990, .940, .947, .944}, .25},
	{2, 0.02, [7]float64{1, 1, .975, .993, .902, .734, .897}, .41},
	{3, 0.005, [7]float64{1, 1, .989, .998, .955, .971, .962}, .18},
	{3, 0.01, [7]float64{1, 1, .981, .997, .962, .962, .955}, .21},
	{3, 0.02, [7]float64{1, 1, .975, .999, .954, .875, .949}, .33},
	{5, 0.005, [7]float64{1, 1, .996, .997, .959, .976, .961}, .15},
	{5, 0.01, [7]float64{1, 1, .987, .999, .971, .976, .957}, .17},
	{5, 0.02, [7]float64{1, 1, .976, .996, .971, .966, .966}, .26},
}
