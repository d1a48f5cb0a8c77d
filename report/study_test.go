package report

import (
	"math"
	"slices"
	"testing"

	"sweepd/analysis"
	"sweepd/run"
)

// Numbers by size, before words; nothing before all.
func TestLevelsInOrder(t *testing.T) {
	list := []string{"off", "12", "", "6", "1.5", "auto"}
	slices.SortFunc(list, compareLevels)
	if want := []string{"", "1.5", "6", "12", "auto", "off"}; !slices.Equal(list, want) {
		t.Errorf("got %q, want %q", list, want)
	}
}

// Of each workload what most of its runs have, of several that as many have the first by
// the alphabet; what is left is named. What was asked for takes its place.
func TestTopics(t *testing.T) {
	has := func(workload string, names ...string) run.Run {
		r := run.Run{Labels: run.Labels{Workload: workload}, Results: map[string]run.Result{}}
		for _, name := range names {
			r.Results[name] = run.Result{}
		}
		return r
	}
	runs := []run.Run{has("tile-sort", "score", "duration"), has("tile-sort", "score"), has("harbour-flight", "fps_p1", "fps_mean"), has("none")}
	byMetric, left := topics(runs, nil)
	if len(byMetric) != 2 || !slices.Equal(byMetric["score"], []string{"tile-sort"}) || !slices.Equal(byMetric["fps_mean"], []string{"harbour-flight"}) {
		t.Errorf("topics %v", byMetric)
	}
	if len(left) != 2 || !slices.Equal(left["tile-sort"], []string{"duration"}) || !slices.Equal(left["harbour-flight"], []string{"fps_p1"}) {
		t.Errorf("left %v", left)
	}
	byMetric, left = topics(runs, []string{"duration", "fps_p1", "fps_mean"})
	if len(byMetric) != 3 || !slices.Equal(byMetric["duration"], []string{"tile-sort"}) || len(byMetric["fps_mean"])+len(byMetric["fps_p1"]) != 2 {
		t.Errorf("asked for: %v", byMetric)
	}
	if len(left) != 1 || !slices.Equal(left["tile-sort"], []string{"score"}) {
		t.Errorf("left of what was asked for: %v", left)
	}
}

// The best has the greatest mean of the ratios, by their logarithms: elm 1.21 and 1 have a
// mean of 1.1, ash 1.05 twice. Where less is better the least is the best; what is not
// known does not count, and none better than the reference leaves it.
func TestBestDevice(t *testing.T) {
	against := func(a, better string, diff float64) analysis.Comparison {
		return analysis.Comparison{A: a, B: "unit-oak", Better: better, Overall: &analysis.Overall{Diff: analysis.Number(diff)}}
	}
	unknown := against("unit-fir", "higher", math.NaN())
	for _, c := range []struct {
		name string
		list []analysis.Comparison
		want string
	}{
		{"more is better", []analysis.Comparison{against("unit-elm", "higher", 0.21), against("unit-elm", "higher", 0), against("unit-ash", "higher", 0.05), against("unit-ash", "higher", 0.05)}, "unit-elm"},
		{"less is better", []analysis.Comparison{against("unit-elm", "lower", 0.21), against("unit-ash", "lower", -0.05)}, "unit-ash"},
		{"the reference", []analysis.Comparison{against("unit-elm", "higher", -0.1), against("unit-ash", "higher", 0)}, "unit-oak"},
		{"a mean, not a sum", []analysis.Comparison{against("unit-elm", "higher", 0.1), against("unit-ash", "higher", 0.08), against("unit-ash", "higher", 0.08)}, "unit-elm"},
		{"unknown", []analysis.Comparison{unknown, {A: "unit-fir", B: "unit-oak"}, against("unit-elm", "higher", 0.01)}, "unit-elm"},
		{"nothing", nil, "unit-oak"},
	} {
		if got := bestDevice(&analysis.CompareResult{Comparisons: c.list}, "unit-oak"); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// A result that no run has is an error, which says what there is.
func TestAskForWhatThereIs(t *testing.T) {
	runs := plant(3, oakAndElm()[0])
	_, err := Ask(runs, Questions{Metrics: []string{"scroe"}})
	if want := `report: no selected run has the result "scroe": there is fps_mean`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}
