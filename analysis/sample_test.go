package analysis

import (
	"math"
	"slices"
	"testing"
	"time"

	"sweepd/run"
)

// alternating is a first value and 500 pairs of two others.
func alternating(first, a, b float64) []float64 {
	return append([]float64{first}, slices.Repeat([]float64{a, b}, 500)...)
}

// michelson are Michelson's measurements of the speed of light, 299 + v/1000
// (NIST StRD Michelso).
func michelson() []float64 {
	values := []float64{850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960,
		960, 940, 960, 940, 880, 800, 850, 880, 900, 840, 830, 790, 810, 880, 880, 830, 800, 790, 760, 800,
		880, 880, 880, 860, 720, 720, 620, 860, 970, 950, 880, 910, 850, 870, 840, 840, 850, 840, 840, 840,
		890, 810, 810, 820, 800, 770, 760, 740, 750, 760, 910, 920, 890, 860, 880, 720, 840, 850, 850, 780,
		890, 840, 780, 810, 760, 810, 790, 810, 820, 850, 870, 870, 810, 740, 810, 940, 950, 800, 810, 870}
	for i := range values {
		values[i] = 299 + values[i]/1000
	}
	return values
}

// NIST StRD univariate sets: certified mean and standard deviation. The inputs of
// NumAcc3 and NumAcc4 are rounded in float64, which limits the tolerance.
func TestCellNIST(t *testing.T) {
	for _, c := range []struct {
		name              string
		values            []float64
		mean, sd, relMean float64
		relSD             float64
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 0, 0},
		{"NumAcc2", alternating(1.2, 1.1, 1.3), 1.2, 0.1, 1e-12, 1e-12},
		{"NumAcc3", alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 1e-12, 1e-9},
		{"NumAcc4", alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-12, 1e-7},
		{"Michelso", michelson(), 299.8524, 0.0790105478190518, 1e-12, 1e-12},
	} {
		sample := sample{z: c.values}
		near(t, c.name+" mean", sample.mean(), c.mean, c.relMean)
		near(t, c.name+" sd", math.Sqrt(sample.sumOfSquares()/float64(sample.n()-1)), c.sd, c.relSD)
	}
}

func TestBuildCells(t *testing.T) {
	at := func(id string, setting run.SourcedSetting, minute int, v float64) run.Run {
		return run.Run{ID: id, Labels: run.Labels{Setting: setting}, StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(minute) * time.Minute)},
			Results: map[string]run.Result{"score": {Value: v}}}
	}
	runs := []run.Run{
		at("c", atWatts(20.0), 3, 4), at("a", atWatts(10.001), 2, 2), at("b", atWatts(9.999), 1, 1),
		at("d", named("quiet"), 4, 5), at("e", atWatts(10.0), 5, 0), at("f", atWatts(0.0), 6, 1), {ID: "g", Labels: run.Labels{Setting: atWatts(10)}},
		at("h", named("low-power"), 7, 6), at("i", named("zebra"), 8, 6), at("k", named("alpha"), 9, 6),
	}
	samples, left := buildSamples(runs, nil, resultNamed("score"))
	var settings []string
	for j, s := range samples {
		if s.x != float64(j+1) {
			t.Errorf("cell %d lies at %g: with a named setting, places are counted", j, s.x)
		}
		if s.name != "" {
			settings = append(settings, s.name)
		}
	}
	if want := []string{"low-power", "quiet", "alpha", "zebra"}; !slices.Equal(settings, want) {
		t.Errorf("names %q, want %q", settings, want)
	}
	if want := []int{2, 1}; samples[0].watts != 10 || !slices.Equal(samples[0].runs, want) {
		t.Errorf("first cell %+v, want runs %v in order of start at 10 W", samples[0], want)
	}
	if left != (leftOut{missing: 1, unusable: 1, setting: 1}) {
		t.Errorf("left out %+v", left)
	}
	if byWatts, _ := buildSamples(runs[:3], nil, resultNamed("score")); byWatts[0].x != math.Log(10) {
		t.Errorf("with watts alone the place is their logarithm: %g", byWatts[0].x)
	}
}
