package sentence

import (
	"testing"

	"sweepd/analysis"
)

// TestMostNamesNoBestAmongOverlapping reads intervals by hand: 77 to 80 at 46 W
// overlaps with 75 to 77.5 at 35 W and 76 to 79 at 54 W, not with 70 to 72 at 25 W.
func TestMostNamesNoBestAmongOverlapping(t *testing.T) {
	point := func(w, mean, lower, upper analysis.Number) analysis.CurvePoint {
		return analysis.CurvePoint{SettingW: w, Mean: mean, Lower: lower, Upper: upper}
	}
	r := &analysis.CurveResult{Unit: "fps", Better: "higher"}
	g := &analysis.CurveGroup{Points: []analysis.CurvePoint{point(25, 71, 70, 72), point(35, 76.25, 75, 77.5), point(46, 78.5, 77, 80), point(54, 77.5, 76, 79)}}
	if got, want := Most(r, g).Text, "The best mean result is 78.5 fps (77.0 to 80.0); from 35 W to 54 W the intervals overlap with it: which of these is best cannot be told."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	r.Better = "lower"
	if got, want := Most(r, g).Text, "The best mean result is at 25 W: 71.0 fps (70.0 to 72.0)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Points = []analysis.CurvePoint{point(25, 71, analysis.Unknown(), analysis.Unknown())}
	if got := Most(r, g).Text; got != "" {
		t.Errorf("a mean without an interval: %q", got)
	}
}

func TestPeakMarksTheLowestTested(t *testing.T) {
	e := &analysis.Efficiency{PeakW: 5, Points: []analysis.EfficiencyPoint{{SettingW: 5}, {SettingW: 8}}}
	if got := Peak(e); got != "5 W (the lowest tested)" {
		t.Error(got)
	}
	e.PeakW = 8
	if got := Peak(e); got != "8 W" {
		t.Error(got)
	}
}

// What a device follows is a finding, no doubt: the page put a question mark to it.
func TestFollowedSettingsAreNoDoubt(t *testing.T) {
	u := analysis.Unknown()
	g := &analysis.CurveGroup{KneeW: u, Enough: analysis.Enough{AtW: u}, Efficiency: analysis.Efficiency{PeakW: u},
		Effective: analysis.Effective{FromW: 5, ToW: 40, FloorW: u, CapW: 38}}
	got := Curve(g)
	if want := (Sentence{Plain, "The device follows settings from 5 W to 40 W; above it acts as if set to 38.0 W."}); len(got) != 1 || got[0] != want {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestEfficientNamesItsWatts(t *testing.T) {
	g := &analysis.CurveGroup{Efficiencies: []analysis.Efficiency{{By: analysis.BySystem, PeakW: 12, FromW: 12, ToW: 12}}}
	want := "Most efficient, by watts of the whole device, at 12 W; no other setting comes near."
	if got := Efficient(g); len(got) != 1 || got[0].Text != want {
		t.Errorf("got %v, want %q", got, want)
	}
}
