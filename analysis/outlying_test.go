package analysis

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"sweepd/run"
)

// The run of 63 in the noise example of the methods (watts 10|15|20|30, checked
// there against base R) is the only one that differs from its repeats.
func TestOutlying(t *testing.T) {
	var runs []run.Run
	for w, values := range map[float64][]float64{10: {50, 50.2, 49.9}, 15: {60.3, 60, 60.1}, 20: {70, 70.1, 63}, 30: {80, 80.2, 79.9}} {
		for _, v := range values {
			runs = append(runs, run.Run{ID: "run-" + strings.ReplaceAll(strconv.FormatFloat(v, 'f', -1, 64), ".", "-"), Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: run.Watts(w).From(run.Declared), Supply: "mains"}, Results: map[string]run.Result{"score": {Value: v}, "seconds": {Value: 1000 / v, Better: run.Lower}}})
		}
	}
	list := Outlying(runs)
	if len(list) != 2 || list[0].ID != "run-63" || list[0].Metric != "score" || list[1].Metric != "seconds" || list[1].ID != "run-63" {
		t.Fatalf("outlying: %v", list)
	}
	if want := math.Sqrt(70 * 70.1); math.Abs(list[0].Usual-want) > 1e-9 {
		t.Errorf("its repeats have %v, want their geometric mean %v", list[0].Usual, want)
	}
	// sqrt V of the other settings in that example: 0.003512541517.
	if math.Abs(list[0].Noise-0.003512541517) > 1e-9 {
		t.Errorf("noise %v", list[0].Noise)
	}
	if text := list[0].String(); !strings.HasPrefix(text, "score is 63, -10.1 % from its repeats (70.05)") {
		t.Errorf("said: %s", text)
	}
	if got := Outlying(runs[:3]); len(got) > 0 {
		t.Errorf("three runs alone: %v", got)
	}
}

// Of two runs that differ neither is the odd one by its result, whichever way is
// better: here the better one drew more than its setting allows, and the worse one
// alone was accused.
func TestTwoRunsThatDifferAreBothNamed(t *testing.T) {
	watts := []float64{10, 15, 18, 20, 30}
	runs := sameSettings("unit-oak", watts, [][]float64{{50, 50.2}, {60.3, 60}, {72, 80}, {70, 70.1}, {80, 80.2}})
	for _, lower := range []bool{false, true} {
		for i := range runs {
			runs[i].Results = map[string]run.Result{"score": {Value: runs[i].Results["score"].Value, Better: better(lower)}}
		}
		want := []FlaggedRun{{"unit-oak-18-0", 18, "", 2}, {"unit-oak-18-1", 18, "", 2}}
		if got := oneCurve(t, runs, CurveRequest{}).Flagged; !slices.Equal(got, want) {
			t.Errorf("lower is better %t: flagged %+v, want %+v", lower, got, want)
		}
		list := Outlying(runs)
		if len(list) != 2 || !list[0].Pair || !list[1].Pair || math.Abs(list[0].Usual-80) > 1e-9 || math.Abs(list[1].Usual-72) > 1e-9 {
			t.Fatalf("outlying %+v, want both runs at 18 W, each against the other", list)
		}
		if text := list[0].String(); !strings.HasPrefix(text, "score is 72, -10.0 % from its only repeat (80)") || !strings.HasSuffix(text, "the two differ from each other, and their results do not tell which is odd") {
			t.Errorf("said: %s", text)
		}
	}
}

// A cell of two is isolated from 3 sqrt 2 = 4.24 scales between its runs on, where
// each is only 2.12 scales from the median: both are named there too.
func TestTwoRunsNearTheLimitAreBothNamed(t *testing.T) {
	const scale = 0.01
	samples := []sample{{z: []float64{0, 5 * scale}, runs: []int{7, 8}}}
	if got, want := flagRuns(samples, 0, scale), []outlier{{0, 7}, {0, 8}}; !slices.Equal(got, want) {
		t.Errorf("flagged %v, want %v", got, want)
	}
}
