package sentence

import (
	"math"
	"slices"
	"testing"

	"sweepd/analysis"
)

func ref(s string) *string { return &s }

func TestCompareTitle(t *testing.T) {
	for _, c := range []struct {
		name          string
		c             analysis.Comparison
		title, metric string
	}{
		{"devices share supply and variant",
			analysis.Comparison{Workload: "harbour-flight", A: "unit-oak", B: "unit-elm", Supply: ref("mains"), Variant: ref("cores=6"), Metric: "fps_mean", Unit: "fps", Better: "higher", At: analysis.AtSetting},
			"harbour-flight: unit-oak (a) against unit-elm (b = 100 %), on mains, cores=6, mean frame rate, fps, higher is better", "mean frame rate, fps, higher is better"},
		{"supplies of a device without a variant, no unit, at measured watts",
			analysis.Comparison{Workload: "tile-sort", A: "battery", B: "mains", Device: ref("unit-oak"), Variant: ref(""), Metric: "score", Better: "higher", At: analysis.AtPackage},
			"tile-sort: battery (a) against mains (b = 100 %), unit-oak, score, higher is better, at equal package watts", "score, higher is better"},
		{"a variant that lacks a key, all shared that can be",
			analysis.Comparison{Workload: "tile-sort", A: "cores=6", B: "cores=", Device: ref("unit-oak"), Supply: ref("battery"), Metric: "duration", Unit: "s", Better: "lower", At: analysis.AtSystem},
			"tile-sort: cores=6 (a) against no cores set (b = 100 %), unit-oak, on battery, time taken, s, lower is better, at equal system watts", "time taken, s, lower is better"},
		{"a time per package watt",
			analysis.Comparison{Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "duration", Unit: "s", Better: "higher", Inverted: true, Per: analysis.AtPackage, At: analysis.AtSetting},
			"tile-sort: unit-oak (a) against unit-elm (b = 100 %), 1/(time taken) per package watt, higher is better", "1/(time taken) per package watt, higher is better"},
		{"a result per watt of the whole device",
			analysis.Comparison{Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "score", Better: "higher", Per: analysis.AtSystem, At: analysis.AtSetting},
			"tile-sort: unit-oak (a) against unit-elm (b = 100 %), score per watt of the whole device, higher is better", "score per watt of the whole device, higher is better"},
		{"a result per set watt",
			analysis.Comparison{Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "score", Better: "higher", Per: analysis.AtSetting, At: analysis.AtSetting},
			"tile-sort: unit-oak (a) against unit-elm (b = 100 %), score per set watt, higher is better", "score per set watt, higher is better"},
	} {
		if got := CompareTitle(&c.c); got != c.title {
			t.Errorf("%s: got %q, want %q", c.name, got, c.title)
		}
		if got := CompareMetric(&c.c); got != c.metric {
			t.Errorf("%s: metric %q, want %q", c.name, got, c.metric)
		}
	}
}

func TestCommon(t *testing.T) {
	for _, c := range []struct {
		device, supply, variant *string
		want                    string
	}{
		{ref("unit-oak"), ref("battery"), ref("cores=6"), "unit-oak, cores=6, battery"},
		{nil, ref("battery"), nil, "battery"},
		{ref("unit-oak"), nil, ref(""), "unit-oak"},
		{ref(""), nil, ref(""), "All together"},
		{nil, nil, nil, "All together"},
	} {
		if got := Common(c.device, c.supply, c.variant); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// settingWith is a shared setting with a difference and its bounds.
func settingWith(watts analysis.Number, v analysis.Verdict, diff, lower, upper analysis.Number) analysis.SettingComparison {
	return analysis.SettingComparison{SettingW: watts, NA: 2, NB: 2, Verdict: v, Diff: diff, Lower: lower, Upper: upper}
}

// bandOf is the band of settings that the analysis makes: the geometric means of a/b and of
// its bounds, less 1.
func bandOf(settings ...analysis.SettingComparison) analysis.Band {
	first := settings[0]
	b := analysis.Band{FromW: first.SettingW, From: first.Setting, Verdict: first.Verdict}
	var d, lower, upper, n float64
	for _, s := range settings {
		if s.NA > 0 && s.NB > 0 {
			d, lower, upper, n = d+math.Log1p(float64(s.Diff)), lower+math.Log1p(float64(s.Lower)), upper+math.Log1p(float64(s.Upper)), n+1
		}
		b.ToW, b.To = s.SettingW, s.Setting
	}
	mean := func(sum float64) analysis.Number { return analysis.Number(math.Expm1(sum / n)) }
	b.Diff, b.Lower, b.Upper = mean(d), mean(lower), mean(upper)
	return b
}

// A lead is a/b - 1 whichever side is ahead, a being the one that is spoken of; where less
// is better it is how much less there is, or more.
func TestBand(t *testing.T) {
	u := analysis.Unknown()
	quiet, fast, oneSided := settingWith(u, analysis.VerdictA, 0.44, 0.21, 0.69), settingWith(u, analysis.VerdictA, 0.21, 0.1025, 0.44), settingWith(12, analysis.VerdictA, u, u, u)
	quiet.Setting, fast.Setting, oneSided.NA = "quiet", "fast", 0
	for _, c := range []struct {
		name, better, unit, at string
		settings               []analysis.SettingComparison
		want                   Sentence
	}{
		{"a", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 0.1, 0.05, 0.16)},
			Sentence{Good, "At 10 W unit-oak is ahead by 10.0 % (5.0 to 16.0)."}},
		{"b", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictB, -0.2, -0.375, -0.1)},
			Sentence{Good, "At 10 W unit-oak is behind by 20.0 % (10.0 to 37.5)."}},
		{"a, less is better", "lower", "points", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, -0.2, -0.3, -0.05)},
			Sentence{Good, "At 10 W unit-oak is ahead, with 20.0 % less (5.0 to 30.0)."}},
		{"b, less time is better", "lower", "s", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictB, 0.25, 0.1, 0.6)},
			Sentence{Good, "At 10 W unit-oak is behind, with 25.0 % more time (10.0 to 60.0)."}},
		{"three digits at most", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 1.23456, 1.2, 1.27)},
			Sentence{Good, "At 10 W unit-oak is ahead by 123 % (120 to 127)."}},
		{"three digits of a lead that is well known", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 0.12345, 0.12241, 0.12449)},
			Sentence{Good, "At 10 W unit-oak is ahead by 12.3 % (12.2 to 12.4)."}},
		{"level", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictTie, 0.005, -0.01, 0.02)},
			Sentence{Plain, "At 10 W the two are level within 2 %: +0.5 % (-1.0 to 2.0)."}},
		{"level, with narrow bounds", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictTie, -0.002, -0.005, 0.001)},
			Sentence{Plain, "At 10 W the two are level within 2 %: -0.20 % (-0.50 to 0.10)."}},
		{"cannot be told, and nothing says how many runs", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictUnclear, 0.1, -0.1, 0.3)},
			Sentence{Doubtful, "At 10 W it cannot be told who is ahead: how many runs would tell is not known at 10 W."}},
		// sqrt(1.44 x 1.21) = 1.32, sqrt(1.21 x 1.1025) = 1.155, sqrt(1.69 x 1.44) = 1.56
		{"a at two of three settings, of which one is not shared", "higher", "", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 0.44, 0.21, 0.69), oneSided, settingWith(15, analysis.VerdictA, 0.21, 0.1025, 0.44)},
			Sentence{Good, "From 10 W to 15 W unit-oak is ahead by 32.0 % (15.5 to 56.0) on average, from 21.0 % at 15 W to 44.0 % at 10 W."}},
		// sqrt(1.25 x 1.6) = 1.414
		{"b at two settings, less is better", "lower", "min", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictB, 0.25, 0.21, 1), settingWith(15, analysis.VerdictB, 0.6, 0.21, 1)},
			Sentence{Good, "From 10 W to 15 W unit-oak is behind, with 41.4 % more time (21.0 to 100.0) on average, from 25.0 % at 10 W to 60.0 % at 15 W."}},
		{"named settings", "higher", "", "", []analysis.SettingComparison{quiet, fast},
			Sentence{Good, "From quiet to fast unit-oak is ahead by 32.0 % (15.5 to 56.0) on average, from 21.0 % at fast to 44.0 % at quiet."}},
		{"measured watts", "higher", "", analysis.AtSystem, []analysis.SettingComparison{settingWith(9.96, analysis.VerdictA, 0.1, 0.05, 0.16)},
			Sentence{Good, "At 10.0 W unit-oak is ahead by 10.0 % (5.0 to 16.0)."}},
	} {
		first := c.settings[0]
		cmp := &analysis.Comparison{A: "unit-oak", B: "unit-elm", Better: c.better, Unit: c.unit, At: c.at, Margin: 0.02}
		// What lies beyond the band does not count.
		cmp.Settings = slices.Concat([]analysis.SettingComparison{settingWith(5, first.Verdict, 9, 8, 10)}, c.settings, []analysis.SettingComparison{settingWith(54, first.Verdict, 9, 8, 10)})
		if got := Band(cmp, bandOf(c.settings...)); got != c.want {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

// On the mean, and over several workloads.
func TestOverall(t *testing.T) {
	const across = "Over 2 workloads, unit-oak against no cores set (no cores set = 100 %): "
	for _, c := range []struct {
		verdict            analysis.Verdict
		better             string
		diff, lower, upper analysis.Number
		overall, across    string
	}{
		{analysis.VerdictA, "higher", 0.1, 0.05, 0.16, "unit-oak is ahead by 10.0 % (5.0 to 16.0).", "unit-oak is ahead by 10.0 % (5.0 to 16.0)."},
		{analysis.VerdictB, "higher", -0.2, -0.375, -0.1, "unit-oak is behind by 20.0 % (10.0 to 37.5).", "unit-oak is behind by 20.0 % (10.0 to 37.5)."},
		{analysis.VerdictA, "lower", -0.2, -0.3, -0.05, "unit-oak is ahead, with 20.0 % less (5.0 to 30.0).", "unit-oak is ahead, with 20.0 % less (5.0 to 30.0)."},
		{analysis.VerdictTie, "higher", 0.005, -0.01, 0.02, "the two are level within 1.5 %: +0.5 % (-1.0 to 2.0).", "level within the margin: +0.5 % (-1.0 to 2.0)."},
		{analysis.VerdictUnclear, "higher", 0.05, analysis.Unknown(), analysis.Unknown(), "it cannot be told who is ahead.", "it cannot be told who is ahead: +5.0 %."},
	} {
		cmp := &analysis.Comparison{A: "unit-oak", B: "cores=", Better: c.better, Margin: 0.015, Overall: &analysis.Overall{Diff: c.diff, Lower: c.lower, Upper: c.upper, Verdict: c.verdict}}
		tone := Plain
		if c.verdict == analysis.VerdictUnclear {
			tone = Doubtful
		}
		if got, want := Overall(cmp), (Sentence{tone, "On the mean over all shared settings " + c.overall}); got != want {
			t.Errorf("%s: got %v, want %v", c.verdict, got, want)
		}
		cmp.Part = true
		if got, want := Overall(cmp), (Sentence{tone, "On the mean over the settings that both keep to, " + c.overall}); got != want {
			t.Errorf("%s, of some: got %v, want %v", c.verdict, got, want)
		}
		if got := Across("unit-oak", "cores=", analysis.Across{Workloads: 2, Better: c.better, Diff: c.diff, Lower: c.lower, Upper: c.upper, Verdict: c.verdict}); got != across+c.across {
			t.Errorf("%s: got %q, want %q", c.verdict, got, across+c.across)
		}
	}
}

// All of a comparison, in the order in which it is read: where the curves cross, that leads,
// and the mean is left to the table.
func TestCompareSays(t *testing.T) {
	ten, fifteen := settingWith(10, analysis.VerdictA, 0.1, 0.05, 0.16), settingWith(15, analysis.VerdictB, -0.2, -0.375, -0.1)
	c := &analysis.Comparison{A: "unit-oak", B: "unit-elm", Better: "higher", Margin: 0.02,
		Settings:  []analysis.SettingComparison{ten, fifteen},
		Bands:     []analysis.Band{bandOf(ten), bandOf(fifteen)},
		Crossings: []analysis.Crossing{{AtW: 12, LowerW: 11, UpperW: 13}},
		Overall:   &analysis.Overall{Diff: 0.005, Lower: -0.01, Upper: 0.02, Verdict: analysis.VerdictTie},
		Flagged:   []analysis.FlaggedRun{{Run: "20261124-0123456789ab", SettingW: 15, N: 3}}}
	want := []Sentence{
		{Good, "The lead changes at 12.0 W (11.0 to 13.0): below it unit-oak is ahead, above it unit-elm."},
		{Good, "At 10 W unit-oak is ahead by 10.0 % (5.0 to 16.0)."},
		{Good, "At 15 W unit-oak is behind by 20.0 % (10.0 to 37.5)."},
		{Plain, "Unlike its repeats, and counted all the same: 456789ab at 15 W."},
	}
	if got := Compare(c); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	c.Crossings = append(c.Crossings, analysis.Crossing{AtW: 13, LowerW: 12.5, UpperW: 14})
	if got, want := Crossings(c).Text, "The lead changes at 12.0 W (11.0 to 13.0) and 13.0 W (12.5 to 14.0)."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := Compare(&analysis.Comparison{}); len(got) != 0 {
		t.Errorf("nothing shared: got %v", got)
	}
}

// One quantity has one interval: the mean is said where it stands for all settings, by
// itself where no setting tells, and nowhere beside the bands.
func TestOneIntervalForOneQuantity(t *testing.T) {
	const a, b, tie, open = analysis.VerdictA, analysis.VerdictB, analysis.VerdictTie, analysis.VerdictUnclear
	overall := func(v analysis.Verdict, d, lower, upper analysis.Number) *analysis.Overall {
		return &analysis.Overall{Verdict: v, Diff: d, Lower: lower, Upper: upper}
	}
	for _, c := range []struct {
		name     string
		settings []analysis.SettingComparison
		overall  *analysis.Overall
		want     []string
	}{
		{"ahead at every setting", []analysis.SettingComparison{settingWith(10, a, 0.10, 0.06, 0.14), settingWith(15, a, 0.20, 0.16, 0.24)}, overall(a, 0.149, 0.13, 0.168),
			[]string{"From 10 W to 15 W unit-oak is ahead by 14.9 % (13.0 to 16.8) on average, from 10.0 % at 10 W to 20.0 % at 15 W."}},
		{"level at every setting", []analysis.SettingComparison{settingWith(10, tie, 0.001, -0.01, 0.01), settingWith(15, tie, 0.003, -0.01, 0.01)}, overall(tie, 0.002, -0.004, 0.008),
			[]string{"From 10 W to 15 W the two are level within 2 %: +0.2 % (-0.4 to 0.8)."}},
		{"behind by as much everywhere, though no setting proves it", []analysis.SettingComparison{settingWith(10, open, -0.03, -0.07, 0.01), settingWith(15, open, -0.02, -0.06, 0.02), settingWith(20, open, -0.04, -0.08, 0.01)}, overall(b, -0.03, -0.05, -0.01),
			[]string{"From 10 W to 20 W, throughout, unit-oak is behind by 3.0 % (1.0 to 5.0); too few runs to say where."}},
		{"behind by as much everywhere, proved at two settings", []analysis.SettingComparison{settingWith(10, b, -0.05, -0.08, -0.01), settingWith(15, open, -0.02, -0.06, 0.02), settingWith(20, b, -0.04, -0.08, -0.01)}, overall(b, -0.037, -0.05, -0.02),
			[]string{"From 10 W to 20 W, throughout, unit-oak is behind by 3.7 % (2.0 to 5.0); single settings prove it at 10 W, at 20 W."}},
		{"behind at one setting only", []analysis.SettingComparison{settingWith(10, open, 0, -0.01, 0.01), settingWith(15, open, 0, -0.01, 0.01), settingWith(20, b, -0.08, -0.12, -0.04)}, overall(b, -0.027, -0.04, -0.012),
			[]string{"On the mean over all shared settings unit-oak is behind by 2.7 % (1.2 to 4.0).", "By itself one setting stands out: at 20 W unit-oak is behind by 8.0 % (4.0 to 12.0)."}},
		{"behind at two settings only", []analysis.SettingComparison{settingWith(10, open, 0, -0.01, 0.01), settingWith(15, b, -0.08, -0.12, -0.04), settingWith(20, b, -0.08, -0.12, -0.04)}, overall(b, -0.054, -0.07, -0.04),
			[]string{"From 15 W to 20 W unit-oak is behind by 8.0 % (4.0 to 12.0) on average."}},
		{"behind on the mean, not alike, and nowhere for certain", []analysis.SettingComparison{settingWith(10, open, 0.01, -0.005, 0.03), settingWith(15, open, -0.07, -0.15, 0.01)}, overall(b, -0.031, -0.05, -0.01),
			[]string{"On the mean over all shared settings unit-oak is behind by 3.1 % (1.0 to 5.0)."}},
		{"ahead at one, behind at another, no crossing", []analysis.SettingComparison{settingWith(10, a, 0.05, 0.02, 0.08), settingWith(15, b, -0.02, -0.03, -0.01)}, overall(tie, 0.014, 0.01, 0.018),
			[]string{"At 10 W unit-oak is ahead by 5.0 % (2.0 to 8.0).", "At 15 W unit-oak is behind by 2.0 % (1.0 to 3.0)."}},
		{"of two settings one", []analysis.SettingComparison{settingWith(10, a, 0.021, 0.001, 0.04), settingWith(15, open, -0.002, -0.03, 0.025)}, overall(tie, 0.009, 0, 0.018),
			[]string{"At 10 W unit-oak is ahead by 2.1 % (0.1 to 4.0)."}},
		{"level on the mean", []analysis.SettingComparison{settingWith(10, open, 0.001, -0.03, 0.03), settingWith(15, tie, 0.003, -0.01, 0.01)}, overall(tie, 0.002, -0.004, 0.008),
			[]string{"On average from 10 W to 15 W the two are level within 2 %: +0.2 % (-0.4 to 0.8)."}},
		{"level on the mean, ahead at one setting", []analysis.SettingComparison{settingWith(10, a, 0.021, 0.001, 0.04), settingWith(15, open, -0.002, -0.03, 0.025), settingWith(20, open, -0.002, -0.03, 0.025)}, overall(tie, 0.009, 0, 0.018),
			[]string{"On the mean over all shared settings the two are level within 2 %: +0.9 % (0.0 to 1.8).", "By itself one setting stands out: at 10 W unit-oak is ahead by 2.1 % (0.1 to 4.0)."}},
		{"level on the mean, one setting stands out", []analysis.SettingComparison{settingWith(10, open, -0.002, -0.03, 0.025), settingWith(15, a, 0.035, 0.002, 0.068), settingWith(20, open, -0.002, -0.03, 0.025)}, overall(tie, 0.008, -0.004, 0.019),
			[]string{"On the mean over all shared settings the two are level within 2 %: +0.8 % (-0.4 to 1.9).", "By itself one setting stands out: at 15 W unit-oak is ahead by 3.5 % (0.2 to 6.8)."}},
		{"nothing can be told", []analysis.SettingComparison{settingWith(10, open, 0.05, -0.02, 0.08)}, overall(open, 0.05, -0.01, 0.07),
			[]string{"On the mean over all shared settings it cannot be told who is ahead."}},
		{"one setting", []analysis.SettingComparison{settingWith(10, a, 0.05, 0.02, 0.08)}, overall(a, 0.05, 0.025, 0.075),
			[]string{"At 10 W unit-oak is ahead by 5.0 % (2.0 to 8.0)."}},
	} {
		cmp := &analysis.Comparison{A: "unit-oak", B: "unit-elm", Better: "higher", Margin: 0.02, Settings: c.settings, Overall: c.overall}
		for _, s := range c.settings {
			if n := len(cmp.Bands); n > 0 && cmp.Bands[n-1].Verdict == s.Verdict {
				from := slices.IndexFunc(c.settings, func(x analysis.SettingComparison) bool { return x.SettingW == cmp.Bands[n-1].FromW })
				to := slices.IndexFunc(c.settings, func(x analysis.SettingComparison) bool { return x.SettingW == s.SettingW })
				cmp.Bands[n-1] = bandOf(c.settings[from : to+1]...)
			} else {
				cmp.Bands = append(cmp.Bands, bandOf(s))
			}
		}
		if got := texts(Settled(cmp)); !slices.Equal(got, c.want) {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

// Where all settings together show what single ones do not, these are not called open.
func TestWhatIsKnownThroughoutIsNotOpen(t *testing.T) {
	more := 4
	ten, fifteen := settingWith(10, analysis.VerdictUnclear, -0.03, -0.07, 0.01), settingWith(15, analysis.VerdictUnclear, -0.02, -0.06, 0.02)
	ten.MoreRuns, fifteen.MoreRuns = &more, &more
	c := &analysis.Comparison{A: "battery", B: "mains", Better: "higher", Margin: 0.02, Settings: []analysis.SettingComparison{ten, fifteen},
		Bands: []analysis.Band{bandOf(ten, fifteen)}, Overall: &analysis.Overall{Verdict: analysis.VerdictB, Diff: -0.025, Lower: -0.04, Upper: -0.01}}
	want := []string{"From 10 W to 15 W, throughout, the device on battery is behind by 2.5 % (1.0 to 4.0); too few runs to say where.",
		"From 10 W to 15 W single settings do not prove it: 4 more runs of each side at each setting are advised."}
	if got := texts(Compare(c)); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestCrossing(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		x    analysis.Crossing
		want string
	}{
		{analysis.Crossing{AtW: 17.5, LowerW: 16, UpperW: 19}, "17.5 W (16.0 to 19.0)"},
		{analysis.Crossing{AtW: 17.5, LowerW: 17.45, UpperW: 17.55}, "17.50 W (17.45 to 17.55)"}, // to 0.05 W: one decimal would hide it
		{analysis.Crossing{AtW: 17.5, LowerW: u, UpperW: u}, "17.5 W"},
		{analysis.Crossing{AtW: 17.5, LowerW: 16, UpperW: u}, "17.5 W"},
	} {
		if got := Crossing(c.x); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestPlacesAndWinners(t *testing.T) {
	u := analysis.Unknown()
	c := func(at string) *analysis.Comparison {
		return &analysis.Comparison{A: "unit-oak", B: "cores=", At: at}
	}
	for _, x := range []struct{ got, want string }{
		{Place(c(analysis.AtSetting), 12.5, ""), "12.5 W"},
		{Place(c(analysis.AtSetting), 15, ""), "15 W"},
		{Place(c(""), 15, ""), "15 W"},
		{Place(c(analysis.AtPackage), 15, ""), "15.0 W"},
		{Place(c(analysis.AtSystem), 15.26, ""), "15.3 W"},
		{Place(c(analysis.AtPackage), u, "quiet"), "quiet"},
		{Place(c(analysis.AtSetting), u, "quiet"), "quiet"},
		{Winner(c(""), analysis.VerdictA), "unit-oak"},
		{Winner(c(""), analysis.VerdictB), "no cores set"},
		{Winner(c(""), analysis.VerdictTie), "tie"},
		{Winner(c(""), analysis.VerdictUnclear), "unclear"},
		{Side("cores=6"), "cores=6"},
		{Side("="), "="},
		{Margin(0.02), "2"},
		{Margin(0.015), "1.5"},
		{Margin(0.07), "7"}, // 100 x 0.07 is 7.000000000000001
	} {
		if x.got != x.want {
			t.Errorf("got %q, want %q", x.got, x.want)
		}
	}
	for _, x := range []struct {
		lower, upper analysis.Number
		want         int
	}{{0.04, 0.16, 1}, {0.0400, 0.0495, 2}, {0.0400, 0.0505, 1}, {0.05, 0.05, 1}, {u, 0.05, 1}} { // a percent wide is a half width of 0.5 %
		if got := PercentPlaces(x.lower, x.upper); got != x.want {
			t.Errorf("from %v to %v: %d decimals, want %d", x.lower, x.upper, got, x.want)
		}
	}
}
