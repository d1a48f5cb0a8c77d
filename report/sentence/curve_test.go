package sentence

import (
	"slices"
	"testing"

	"sweepd/analysis"
)

// The analysis says which settings cannot be told from the best; what is set for
// them has the result of the lowest, not of the best.
func TestBestResultIsThatOfItsSetting(t *testing.T) {
	point := func(w, mean, lower, upper analysis.Number) analysis.CurvePoint {
		return analysis.CurvePoint{SettingW: w, Mean: mean, Lower: lower, Upper: upper}
	}
	u := analysis.Unknown()
	r := &analysis.CurveResult{Unit: "fps", Better: "higher"}
	g := &analysis.CurveGroup{Efficiency: analysis.Efficiency{PeakW: u}, Enough: analysis.Enough{AtW: u},
		Points: []analysis.CurvePoint{point(25, 71, 70, 72), point(35, 76.25, 75, 77.5), point(46, 78.5, 77, 80), point(54, 77.5, 76, 79)},
		Best:   analysis.Best{AtW: 46, FromW: 35, ToW: 54}}
	for _, c := range []struct{ got, want string }{
		{Most(r, g).Text, "The best mean result is at 46 W: 78.5 fps (77.0 to 80.0); from 35 W to 54 W no result can be told from it."},
		{ToSet(r, g), "35 W for what cannot be told from the best result, 76.2 fps (75.0 to 77.5)."},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	// The lowest that cannot be told from the best may be the best itself.
	g.Best = analysis.Best{AtW: 46, FromW: 46, ToW: 54}
	if got, want := ToSet(r, g), "46 W for the best result, 78.5 fps (77.0 to 80.0)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Best = analysis.Best{AtW: 25, FromW: 25, ToW: 25}
	if got, want := Most(r, g).Text, "The best mean result is at 25 W: 71.0 fps (70.0 to 72.0)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Points, g.Best = []analysis.CurvePoint{point(25, 71, u, u)}, analysis.Best{AtW: 25, FromW: u, ToW: u}
	if got := Most(r, g).Text + ToSet(r, g); got != "" {
		t.Errorf("a mean without an interval: %q", got)
	}
}

// A bend is said only where the analysis can tell it from none, and the last step
// that gains only where all steps together let it be told.
func TestOnlyWhatIsToldIsSaid(t *testing.T) {
	u := analysis.Unknown()
	g := &analysis.CurveGroup{Effective: analysis.Effective{FromW: u, ToW: u}, Efficiency: analysis.Efficiency{PeakW: u}, Enough: analysis.Enough{AtW: u},
		KneeW: 20, Marginal: []analysis.Marginal{
			{FromW: 15, ToW: 20, PercentPerWatt: 2, Lower: 1, Upper: 3, Significant: true},
			{FromW: 20, ToW: 25, PercentPerWatt: 0.5, Lower: -0.5, Upper: 1.5},
		}}
	want := Sentence{Plain, "The last step that gains, as far as it can be told, is from 15 W to 20 W: 2.0 % per watt (1.0 to 3.0)."}
	if got := Curve(g); len(got) != 1 || got[0] != want {
		t.Errorf("got %v, want %v", got, want)
	}
	g.KneeSignificant, g.Marginal = true, nil
	want.Text = "The curve bends most at 20 W."
	if got := Curve(g); len(got) != 1 || got[0] != want {
		t.Errorf("got %v, want %v", got, want)
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

// Two runs that differ are named as a pair, each side's by itself.
func TestFlaggedPairs(t *testing.T) {
	var l list
	l.flagged([]analysis.FlaggedRun{{Run: "a", SettingW: 18, N: 2}, {Run: "b", SettingW: 18, N: 2}, {Run: "c", SettingW: 20, N: 3}, {Run: "d", SettingW: 20, N: 3}, {Run: "e", SettingW: 18, N: 2}, {Run: "f", SettingW: 18, N: 2}})
	want := list{{Plain, "Unlike their repeats, and counted all the same: c at 20 W, d at 20 W."}, {Plain, "Unlike each other, and counted all the same: a and b at 18 W, e and f at 18 W."}}
	if !slices.Equal(l, want) {
		t.Errorf("got %v, want %v", l, want)
	}
}
