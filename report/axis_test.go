package report

import (
	"math"
	"slices"
	"testing"

	"sweepd/analysis"
	"sweepd/report/chart"
)

// By watts, each once and in order; by name, in the order given, where one has no watts.
func TestSettingsOnAnAxis(t *testing.T) {
	u := analysis.Unknown()
	byWatts := placeSettings([]setting{{25, ""}, {10, ""}, {25, ""}, {15, ""}})
	if want := []float64{10, 15, 25}; !slices.Equal(byWatts.watts, want) || len(byWatts.names) > 0 {
		t.Errorf("by watts: %+v", byWatts)
	}
	byName := placeSettings([]setting{{u, "quiet"}, {12.5, ""}, {u, "quiet"}, {u, "fast"}})
	if want := []string{"quiet", "12.5 W", "fast"}; !slices.Equal(byName.names, want) || len(byName.watts) > 0 {
		t.Errorf("by name: %+v", byName)
	}
	for _, c := range []struct{ got, want float64 }{{byWatts.at(15, ""), 15}, {byName.at(u, "quiet"), 1}, {byName.at(12.5, ""), 2}, {byName.at(u, "fast"), 3}, {byName.at(u, "other"), 0}} {
		if c.got != c.want {
			t.Errorf("at %v, want %v", c.got, c.want)
		}
	}
	if got, want := byName.reach(2), (chart.Reach{From: 1.5, To: 2.5}); got != want {
		t.Errorf("a name reaches %+v", got)
	}
}

// The axis goes 3 % of its width beyond both ends, 10 % of an only setting; up to four
// settings are ticks themselves.
func TestAxisOfSettings(t *testing.T) {
	for _, c := range []struct {
		watts    []float64
		from, to float64
		ticks    bool
	}{{[]float64{10, 110}, 7, 113, true}, {[]float64{10, 20, 60, 110}, 7, 113, true}, {[]float64{10, 20, 60, 80, 110}, 7, 113, false}, {[]float64{15}, 13.5, 16.5, true}} {
		a := settings{watts: c.watts}.axis()
		if a.Label != "setting, W" || math.Abs(*a.From-c.from) > 1e-9 || math.Abs(*a.To-c.to) > 1e-9 || (len(a.At) > 0) != c.ticks {
			t.Errorf("%v: %q from %v to %v, ticks %v", c.watts, a.Label, *a.From, *a.To, a.At)
		}
	}
	if a := (settings{names: []string{"quiet", "fast"}}).axis(); a.Label != "setting" || len(a.Names) != 2 || a.From != nil || a.To != nil {
		t.Errorf("names: %+v", a)
	}
	if a := (settings{}).axis(); a.From != nil || a.To != nil {
		t.Errorf("none: %+v", a)
	}
	if q := interval(3, 5, analysis.Unknown(), 6); q.X != 3 || q.Y != 5 || !math.IsNaN(q.Lower) || q.Upper != 6 {
		t.Errorf("an interval open below: %+v", q)
	}
}
