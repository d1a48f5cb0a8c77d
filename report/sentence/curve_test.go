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
	g := &analysis.CurveGroup{Efficiency: analysis.Efficiency{PeakW: u}, Enough: analysis.Enough{AtW: u, FromW: u, ToW: u},
		Points: []analysis.CurvePoint{point(25, 71, 70, 72), point(35, 76.25, 75, 77.5), point(46, 78.5, 77, 80), point(54, 77.5, 76, 79)},
		Best:   analysis.Best{AtW: 46, FromW: 35, ToW: 54}}
	for _, c := range []struct{ got, want string }{
		{Most(r, g).Text, "The best result is 78.5 fps (77.0 to 80.0), at 46 W; from 35 W on no setting can be told from it."},
		{ToSet(r, g), "From 35 W on no setting can be told from the best, at 35 W 76.2 fps (75.0 to 77.5)."},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	// The lowest that cannot be told from the best may be the best itself, and the highest may
	// not be the last.
	g.Best = analysis.Best{AtW: 46, FromW: 46, ToW: 54}
	if got, want := ToSet(r, g), "From 46 W on no setting can be told from the best, at 46 W 78.5 fps (77.0 to 80.0)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Best = analysis.Best{AtW: 35, FromW: 35, ToW: 46}
	if got, want := ToSet(r, g), "From 35 W to 46 W no setting can be told from the best, at 35 W 76.2 fps (75.0 to 77.5)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Best = analysis.Best{AtW: 25, FromW: 25, ToW: 25}
	if got, want := Most(r, g).Text, "The best result is 71.0 fps (70.0 to 72.0), at 25 W."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Points, g.Best = []analysis.CurvePoint{point(25, 71, u, u)}, analysis.Best{AtW: 25, FromW: u, ToW: u}
	if got := Most(r, g).Text + ToSet(r, g); got != "" {
		t.Errorf("a mean without an interval: %q", got)
	}
}

// A bend is said only where the analysis can tell it from none.
func TestOnlyWhatIsToldIsSaid(t *testing.T) {
	u := analysis.Unknown()
	g := &analysis.CurveGroup{Effective: analysis.Effective{FromW: u, ToW: u}, Efficiency: analysis.Efficiency{PeakW: u}, Enough: analysis.Enough{AtW: u, FromW: u, ToW: u},
		KneeW: 20, Marginal: []analysis.Marginal{{FromW: 15, ToW: 20, PercentPerWatt: 2, Lower: 1, Upper: 3, Significant: true}}}
	if got := Curve(g); len(got) != 0 {
		t.Errorf("got %v, want nothing", got)
	}
	g.KneeSignificant = true
	var want Sentence
	want.Text = "The curve bends most at 20 W: above it each watt gives less."
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
	g := &analysis.CurveGroup{KneeW: u, Enough: analysis.Enough{AtW: u, FromW: u, ToW: u}, Efficiency: analysis.Efficiency{PeakW: u},
		Effective: analysis.Effective{FromW: 5, ToW: 40, FloorW: u, CapW: 38}}
	got := Curve(g)
	if want := (Sentence{Plain, "It follows settings from 5 W to 40 W; set higher, it acts as if set to 38.0 W."}); len(got) != 1 || got[0] != want {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestEfficientNamesItsWatts(t *testing.T) {
	g := &analysis.CurveGroup{Efficiencies: []analysis.Efficiency{{By: analysis.BySystem, PeakW: 12, FromW: 12, ToW: 12}}}
	want := "Most efficient, by watts of the whole device, is 12 W; no other setting comes near."
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

// untold is a group of which nothing can be said yet.
func untold() *analysis.CurveGroup {
	u := analysis.Unknown()
	return &analysis.CurveGroup{KneeW: u, Enough: analysis.Enough{AtW: u, FromW: u, ToW: u}, Efficiency: analysis.Efficiency{PeakW: u}, Effective: analysis.Effective{FromW: u, ToW: u, FloorW: u, CapW: u}}
}

func TestCurveMetric(t *testing.T) {
	for _, c := range []struct{ metric, unit, better, want string }{
		{"fps_mean", "fps", "higher", "mean frame rate, fps, higher is better"},
		{"duration", "", "lower", "time taken, lower is better"},
	} {
		if got := CurveMetric(&analysis.CurveResult{Metric: c.metric, Unit: c.unit, Better: c.better}); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// Which settings a device follows, and how sure that is.
func TestSettingsFollowed(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		name string
		e    analysis.Effective
		want string
	}{
		{"all, by power", analysis.Effective{FromW: 5, ToW: 40, FloorW: u, CapW: u, Source: analysis.RangeFromPackage}, "It follows every setting tested, from 5 W to 40 W."},
		{"all, by results", analysis.Effective{FromW: 5, ToW: 40, FloorW: u, CapW: u, Source: analysis.RangeFromResults}, "It follows every setting tested, from 5 W to 40 W, judging by results alone."},
		{"not tested", analysis.Effective{FromW: 5, ToW: 40, FloorW: u, CapW: u}, ""},
		{"a floor by results", analysis.Effective{FromW: 8, ToW: 40, FloorW: 7.5, CapW: u, Source: analysis.RangeFromResults}, "It follows settings from 8 W to 40 W; set lower, it acts as if set to 7.50 W, judging by results alone."},
		{"a cap", analysis.Effective{FromW: 5, ToW: 35, FloorW: u, CapW: 38, Source: analysis.RangeFromPackage}, "It follows settings from 5 W to 35 W; set higher, it acts as if set to 38.0 W."},
		{"both", analysis.Effective{FromW: 8, ToW: 35, FloorW: 7, CapW: 38, Source: analysis.RangeFromPackage}, "It follows settings from 8 W to 35 W; set lower, it acts as if set to 7.00 W; set higher, it acts as if set to 38.0 W."},
		{"one end unknown", analysis.Effective{FromW: 8, ToW: u, FloorW: 7, CapW: u, Source: analysis.RangeFromPackage}, ""},
		{"the other end unknown", analysis.Effective{FromW: u, ToW: 35, FloorW: u, CapW: 38, Source: analysis.RangeFromPackage}, ""},
	} {
		g := untold()
		g.Effective = c.e
		var want []Sentence
		if c.want != "" {
			want = []Sentence{{Plain, c.want}}
		}
		if got := Curve(g); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", c.name, got, want)
		}
	}
}

// Where the result per watt is best, in a sentence and in short: by each kind of watts,
// with a plateau and without, by watts and by name, and not from one setting alone.
func TestMostEfficient(t *testing.T) {
	u := analysis.Unknown()
	points := []analysis.EfficiencyPoint{{SettingW: 5}, {SettingW: 8}, {SettingW: 12}}
	for _, c := range []struct {
		name        string
		e           analysis.Efficiency
		full, toSet string
	}{
		{name: "alone", e: analysis.Efficiency{By: analysis.ByPackage, PeakW: 8, FromW: 8, ToW: 8, Points: points},
			full: "Most efficient, by package watts, is 8 W; no other setting comes near.", toSet: "Most efficient, by package watts, is 8 W."},
		{name: "a plateau, at the lowest", e: analysis.Efficiency{By: analysis.BySystem, PeakW: 5, FromW: 5, ToW: 12, Points: points},
			full: "Most efficient, by watts of the whole device, is 5 W (the lowest tested); 5 W to 12 W are about as good.", toSet: "Most efficient, by watts of the whole device, is 5 W (the lowest tested), and 5 W to 12 W are about as good."},
		{name: "by name", e: analysis.Efficiency{By: analysis.BySetting, PeakW: u, FromW: u, ToW: u, Peak: "quiet", From: "quiet", To: "fast", Points: []analysis.EfficiencyPoint{{SettingW: u, Setting: "quiet"}, {SettingW: u, Setting: "fast"}}},
			full: "Most efficient, by set watts, is quiet; quiet to fast are about as good.", toSet: "Most efficient, by set watts, is quiet, and quiet to fast are about as good."},
		{name: "unknown", e: analysis.Efficiency{PeakW: u, FromW: u, ToW: u}},
		{name: "one setting alone", e: analysis.Efficiency{By: analysis.ByPackage, PeakW: 8, FromW: 8, ToW: 8, Points: points[:1]}, toSet: "Most efficient, by package watts, is 8 W."},
	} {
		g := untold()
		g.Efficiency, g.Efficiencies = c.e, []analysis.Efficiency{c.e}
		g.Points = []analysis.CurvePoint{{SettingW: 5, Lower: u, Upper: u}, {SettingW: 8, Lower: u, Upper: u}}
		var want []Sentence
		if c.full != "" {
			want = []Sentence{{Plain, c.full}}
		}
		if got := Curve(g); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", c.name, got, want)
		}
		if got := Efficient(g); !slices.Equal(got, want) {
			t.Errorf("%s: of its efficiencies %v, want %v", c.name, got, want)
		}
		if got := ToSet(&analysis.CurveResult{}, g); got != c.toSet {
			t.Errorf("%s: in short %q, want %q", c.name, got, c.toSet)
		}
	}
}

// In short: per watt, enough, the best; nothing of a single setting.
func TestToSetNamesWhatIsKnown(t *testing.T) {
	g := untold()
	g.Efficiency = analysis.Efficiency{By: analysis.ByPackage, PeakW: 10, FromW: 10, ToW: 10}
	g.Enough = analysis.Enough{AtW: 12.5, FromW: 12.5, ToW: 15, Share: 0.95}
	g.Points = []analysis.CurvePoint{{SettingW: 10, Mean: 70, Lower: 69, Upper: 71}, {SettingW: 25, Mean: 80, Lower: 78, Upper: 82}}
	g.Best = analysis.Best{AtW: 25, FromW: 25, ToW: 25}
	r := &analysis.CurveResult{Unit: "fps"}
	if got, want := ToSet(r, g), "Most efficient, by package watts, is 10 W; 95 % of the best needs 12.5 to 15 W; 25 W for the best result, 80.0 fps (78.0 to 82.0)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	g.Points = g.Points[1:]
	if got := ToSet(r, g); got != "" {
		t.Errorf("of one setting: %q", got)
	}
}

// Results by name, one of which has an interval.
func TestBestByName(t *testing.T) {
	u := analysis.Unknown()
	g := untold()
	g.Points = []analysis.CurvePoint{{SettingW: u, Setting: "quiet", Mean: 70, Lower: u, Upper: u}, {SettingW: u, Setting: "fast", Mean: 80, Lower: 78, Upper: 82}}
	g.Best = analysis.Best{AtW: u, FromW: u, ToW: u, At: "fast", From: "fast", To: "fast"}
	r := &analysis.CurveResult{}
	if got, want := Most(r, g), (Sentence{Plain, "The best result is 80.0 (78.0 to 82.0), at fast."}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
	g.Best = analysis.Best{AtW: u, FromW: u, ToW: u, At: "quiet", From: "quiet", To: "fast"}
	if got := Most(r, g); got != (Sentence{}) {
		t.Errorf("without an interval: %v", got)
	}
	for _, open := range []analysis.CurvePoint{{Mean: 70, Lower: 69, Upper: u}, {Mean: 70, Lower: u, Upper: 71}} {
		open.SettingW, open.Setting = u, "quiet"
		g.Points[0] = open
		if got := Most(r, g); got != (Sentence{}) {
			t.Errorf("with half an interval: %v", got)
		}
	}
	g.Best.At = "none of them"
	if got := Most(r, g); got != (Sentence{}) {
		t.Errorf("at no setting that was tested: %v", got)
	}
}

// All of a group, in the order in which it is read.
func TestCurveSays(t *testing.T) {
	u := analysis.Unknown()
	g := &analysis.CurveGroup{Effective: analysis.Effective{FromW: 5, ToW: 40, FloorW: u, CapW: u, Source: analysis.RangeFromPackage},
		Efficiency: analysis.Efficiency{By: analysis.ByPackage, PeakW: 8, FromW: 8, ToW: 8}, Enough: analysis.Enough{AtW: 17.5, FromW: 15, ToW: 20, Share: 0.95},
		KneeW: 12.5, KneeSignificant: true, Marginal: []analysis.Marginal{{FromW: 15, ToW: 20, PercentPerWatt: 2, Lower: 1, Upper: 3, Significant: true}},
		Departures: []analysis.DepartureAt{{SettingW: 15, Change: -0.08, PAdjusted: 0.004}, {SettingW: u, Setting: "quiet", Change: -0.031, PAdjusted: 0.02}},
		Flagged:    []analysis.FlaggedRun{{Run: "a", SettingW: 20, N: 3}}}
	want := []Sentence{
		{Plain, "It follows every setting tested, from 5 W to 40 W."},
		{Plain, "Most efficient, by package watts, is 8 W; no other setting comes near."},
		{Plain, "95 % of the best needs 15 to 20 W."},
		{Plain, "The curve bends most at 12.5 W: above it each watt gives less."},
		{Doubtful, "At 15 W the result dips below the trend: -8.0 %, more than noise."},
		{Doubtful, "At quiet the result dips below the trend: -3.1 %, more than noise."},
		{Plain, "Unlike its repeats, and counted all the same: a at 20 W."},
	}
	if got := Curve(g); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got := Curve(untold()); len(got) != 0 {
		t.Errorf("nothing is known: got %v", got)
	}
}
