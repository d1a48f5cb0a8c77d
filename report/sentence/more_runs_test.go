package sentence

import (
	"testing"

	"sweepd/analysis"
)

// unclearAt is a setting with runs on both sides that cannot be told, and how many more
// it would take; below 0: nothing tells.
func unclearAt(watts analysis.Number, more int) analysis.SettingComparison {
	s := analysis.SettingComparison{SettingW: watts, NA: 2, NB: 2, Verdict: analysis.VerdictUnclear}
	if more >= 0 {
		s.MoreRuns = &more
	}
	return s
}

// How many runs it would take, in a sentence and in short. Settings that need more than
// three times the lower median of the others are named with their own number.
func TestMoreRuns(t *testing.T) {
	u := analysis.Unknown()
	quiet := unclearAt(u, 2)
	quiet.Setting = "quiet"
	oneSided := unclearAt(12, 900)
	oneSided.NB = 0
	for _, c := range []struct {
		name     string
		at       string
		settings []analysis.SettingComparison
		flagged  []analysis.FlaggedRun
		band     string
		open     string
	}{
		{"one run", "", []analysis.SettingComparison{unclearAt(10, 1)}, nil,
			"At 10 W it cannot be told who is ahead: 1 more run of each side is advised.", "At 10 W (1 more run)."},
		{"several runs", "", []analysis.SettingComparison{unclearAt(10, 5)}, nil,
			"At 10 W it cannot be told who is ahead: 5 more runs of each side are advised.", "At 10 W (5 more runs)."},
		{"one run at each", "", []analysis.SettingComparison{unclearAt(10, 1), unclearAt(15, 1)}, nil,
			"From 10 W to 15 W it cannot be told who is ahead: 1 more run of each side at each setting is advised.", "From 10 W to 15 W (1 more run)."},
		{"from the least to the most", "", []analysis.SettingComparison{unclearAt(10, 5), unclearAt(15, 4), unclearAt(20, 6)}, nil,
			"From 10 W to 20 W it cannot be told who is ahead: 4 to 6 more runs of each side at each setting are advised.", "From 10 W to 20 W (4 to 6 more runs)."},
		{"not shared, and so not counted", "", []analysis.SettingComparison{unclearAt(10, 2), oneSided, unclearAt(15, 2)}, nil,
			"From 10 W to 15 W it cannot be told who is ahead: 2 more runs of each side at each setting are advised.", "From 10 W to 15 W (2 more runs)."},
		{"one needs more than 3 x 3", "", []analysis.SettingComparison{unclearAt(10, 2), unclearAt(15, 3), unclearAt(20, 4), unclearAt(25, 40)}, nil,
			"From 10 W to 25 W it cannot be told who is ahead: 2 to 4 more runs of each side at each setting are advised, but 40 at 25 W.", "From 10 W to 25 W (2 to 4 more runs, 40 at 25 W)."},
		{"two need more than 3 x 1", "", []analysis.SettingComparison{unclearAt(10, 30), unclearAt(15, 1), unclearAt(20, 1), unclearAt(25, 40)}, nil,
			"From 10 W to 25 W it cannot be told who is ahead: 1 more run of each side at each setting is advised, but 30 at 10 W, 40 at 25 W.", "From 10 W to 25 W (1 more run, 30 at 10 W, 40 at 25 W)."},
		{"three times as many is usual", "", []analysis.SettingComparison{unclearAt(10, 2), unclearAt(15, 6)}, nil,
			"From 10 W to 15 W it cannot be told who is ahead: 2 to 6 more runs of each side at each setting are advised.", "From 10 W to 15 W (2 to 6 more runs)."},
		{"more than that is not", "", []analysis.SettingComparison{unclearAt(10, 2), unclearAt(15, 7)}, nil,
			"From 10 W to 15 W it cannot be told who is ahead: 2 more runs of each side at each setting are advised, but 7 at 15 W.", "From 10 W to 15 W (2 more runs, 7 at 15 W)."},
		{"just advice", "", []analysis.SettingComparison{unclearAt(10, 999)}, nil,
			"At 10 W it cannot be told who is ahead: 999 more runs of each side are advised.", "At 10 W (999 more runs)."},
		{"no advice any more", "", []analysis.SettingComparison{unclearAt(10, 1000)}, nil,
			"At 10 W it cannot be told who is ahead: the difference is too small for the noise, it would take more than 1000 more runs of each side.", "At 10 W (over 1000 more runs)."},
		{"nothing tells", "", []analysis.SettingComparison{unclearAt(10, -1), unclearAt(15, -1)}, nil,
			"From 10 W to 15 W it cannot be told who is ahead: how many runs would tell is not known at 10 W, 15 W.", "From 10 W to 15 W (how many runs is not known at 10 W and 15 W)."},
		{"no more runs are asked for", "", []analysis.SettingComparison{unclearAt(10, 0)}, nil, "At 10 W it cannot be told who is ahead.", "At 10 W."},
		{"a run unlike its repeats", "", []analysis.SettingComparison{unclearAt(10, 3)}, []analysis.FlaggedRun{{Run: "a", SettingW: 10, N: 3}},
			"At 10 W it cannot be told who is ahead: a run unlike its repeats stands in the way at 10 W.", "At 10 W (a run unlike its repeats at 10 W)."},
		{"all at once", "", []analysis.SettingComparison{unclearAt(10, 3), unclearAt(15, 3), unclearAt(20, -1)}, []analysis.FlaggedRun{{Run: "a", SettingW: 15, N: 3}},
			"From 10 W to 20 W it cannot be told who is ahead: 3 more runs of each side at each setting are advised; a run unlike its repeats stands in the way at 15 W; how many runs would tell is not known at 20 W.",
			"From 10 W to 20 W (3 more runs; a run unlike its repeats at 15 W; how many runs is not known at 20 W)."},
		{"a name", "", []analysis.SettingComparison{quiet}, nil,
			"At quiet it cannot be told who is ahead: 2 more runs of each side are advised.", "At quiet (2 more runs)."},
		{"measured watts", analysis.AtPackage, []analysis.SettingComparison{unclearAt(9.96, 2), unclearAt(14.04, 7)}, nil,
			"From 10.0 W to 14.0 W it cannot be told who is ahead: 2 more runs of each side at each setting are advised, but 7 at 14.0 W.", "From 10.0 W to 14.0 W (2 more runs, 7 at 14.0 W)."},
	} {
		first, last := c.settings[0], c.settings[len(c.settings)-1]
		b := analysis.Band{FromW: first.SettingW, From: first.Setting, ToW: last.SettingW, To: last.Setting, Verdict: analysis.VerdictUnclear}
		cmp := &analysis.Comparison{At: c.at, Settings: c.settings, Bands: []analysis.Band{b}, Flagged: c.flagged}
		if got, want := Band(cmp, b), (Sentence{Doubtful, c.band}); got != want {
			t.Errorf("%s: got %v, want %v", c.name, got, want)
		}
		if got, want := Open(cmp), (Sentence{Doubtful, c.open}); got != want {
			t.Errorf("%s: in short %v, want %v", c.name, got, want)
		}
	}
}

// In short only what cannot be told is named, and nothing where all can be.
func TestOpenNamesEachBand(t *testing.T) {
	won := analysis.SettingComparison{SettingW: 15, NA: 2, NB: 2, Verdict: analysis.VerdictA}
	c := &analysis.Comparison{Settings: []analysis.SettingComparison{unclearAt(10, 1), won, unclearAt(20, 3), unclearAt(25, 3)}, Bands: []analysis.Band{
		{FromW: 10, ToW: 10, Verdict: analysis.VerdictUnclear}, {FromW: 15, ToW: 15, Verdict: analysis.VerdictA}, {FromW: 20, ToW: 25, Verdict: analysis.VerdictUnclear}}}
	if got, want := Open(c), (Sentence{Doubtful, "At 10 W (1 more run), from 20 W to 25 W (3 more runs)."}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
	c.Bands = c.Bands[1:2]
	if got := Open(c); got != (Sentence{}) {
		t.Errorf("all can be told: %v", got)
	}
}

func TestAdvises(t *testing.T) {
	for _, c := range []struct {
		more []int // of one comparison each
		want bool
	}{{nil, false}, {[]int{-1}, false}, {[]int{0}, false}, {[]int{1}, true}, {[]int{0, 2}, true}, {[]int{2, 0}, true}, {[]int{-1, 0}, false}} {
		var r analysis.CompareResult
		for _, n := range c.more {
			r.Comparisons = append(r.Comparisons, analysis.Comparison{Settings: []analysis.SettingComparison{unclearAt(10, n)}})
		}
		if got := Advises(&r); got != c.want {
			t.Errorf("%v: %v, want %v", c.more, got, c.want)
		}
	}
}
