package sentence

import (
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
			"harbour-flight: unit-oak (a) and unit-elm (b), mains, cores=6, fps_mean in fps, higher is better", "fps_mean in fps, higher is better"},
		{"supplies of a device without a variant, no unit, at measured watts",
			analysis.Comparison{Workload: "tile-sort", A: "battery", B: "mains", Device: ref("unit-oak"), Variant: ref(""), Metric: "score", Better: "higher", At: analysis.AtPackage},
			"tile-sort: battery (a) and mains (b), unit-oak, score, higher is better, at equal package watts", "score, higher is better"},
		{"a variant that lacks a key, all shared that can be",
			analysis.Comparison{Workload: "tile-sort", A: "cores=6", B: "cores=", Device: ref("unit-oak"), Supply: ref("battery"), Metric: "duration", Unit: "s", Better: "lower", At: analysis.AtSystem},
			"tile-sort: cores=6 (a) and no cores set (b), unit-oak, battery, duration in s, lower is better, at equal system watts", "duration in s, lower is better"},
		{"a time per package watt",
			analysis.Comparison{Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "duration", Unit: "s", Better: "higher", Inverted: true, Per: analysis.AtPackage, At: analysis.AtSetting},
			"tile-sort: unit-oak (a) and unit-elm (b), 1/duration per package watt, higher is better", "1/duration per package watt, higher is better"},
		{"a result per watt of the whole device",
			analysis.Comparison{Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "score", Better: "higher", Per: analysis.AtSystem, At: analysis.AtSetting},
			"tile-sort: unit-oak (a) and unit-elm (b), score per watt of the whole device, higher is better", "score per watt of the whole device, higher is better"},
		{"a result per set watt",
			analysis.Comparison{Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "score", Better: "higher", Per: analysis.AtSetting, At: analysis.AtSetting},
			"tile-sort: unit-oak (a) and unit-elm (b), score per set watt, higher is better", "score per set watt, higher is better"},
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

// A lead is a share of the other side's result: a/b - 1 where a is ahead, b/a - 1
// where b is, and the size of it where less is better. Over several settings it is
// the geometric mean.
func TestBand(t *testing.T) {
	u := analysis.Unknown()
	quiet, fast, oneSided := settingWith(u, analysis.VerdictA, 0.44, 0.21, 0.69), settingWith(u, analysis.VerdictA, 0.21, 0.1025, 0.44), settingWith(12, analysis.VerdictA, u, u, u)
	quiet.Setting, fast.Setting, oneSided.NA = "quiet", "fast", 0
	for _, c := range []struct {
		name, better, at string
		settings         []analysis.SettingComparison
		want             Sentence
	}{
		{"a", "higher", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 0.1, 0.05, 0.16)},
			Sentence{Good, "At 10 W unit-oak is ahead by 10.0 % (5.0 to 16.0)."}},
		{"b: 1/0.8, 1/0.9 and 1/0.625", "higher", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictB, -0.2, -0.375, -0.1)},
			Sentence{Good, "At 10 W unit-elm is ahead by 25.0 % (11.1 to 60.0)."}},
		{"a, less is better", "lower", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, -0.2, -0.3, -0.05)},
			Sentence{Good, "At 10 W unit-oak is ahead by 20.0 % (5.0 to 30.0)."}},
		{"b, less is better: 1/1.25, 1/1.1 and 1/1.6", "lower", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictB, 0.25, 0.1, 0.6)},
			Sentence{Good, "At 10 W unit-elm is ahead by 20.0 % (9.1 to 37.5)."}},
		{"level", "higher", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictTie, 0.005, -0.01, 0.02)},
			Sentence{Plain, "At 10 W the two are level within 2 %: unit-oak over unit-elm +0.5 % (-1.0 to 2.0)."}},
		{"level, with narrow bounds", "higher", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictTie, -0.002, -0.005, 0.001)},
			Sentence{Plain, "At 10 W the two are level within 2 %: unit-oak over unit-elm -0.20 % (-0.50 to 0.10)."}},
		{"cannot be told, and nothing says how many runs", "higher", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictUnclear, 0.1, -0.1, 0.3)},
			Sentence{Doubtful, "At 10 W it cannot be told who is ahead: how many runs would tell is not known at 10 W."}},
		// sqrt(1.44 x 1.21) = 1.32, sqrt(1.21 x 1.1025) = 1.155, sqrt(1.69 x 1.44) = 1.56
		{"a at two of three settings, of which one is not shared", "higher", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 0.44, 0.21, 0.69), oneSided, settingWith(15, analysis.VerdictA, 0.21, 0.1025, 0.44)},
			Sentence{Good, "From 10 W to 15 W unit-oak is ahead by 32.0 % (15.5 to 56.0) on average, from 21.0 % at 15 W to 44.0 % at 10 W."}},
		// 1/1.25 = 0.8, 1/1.6 = 0.625, 1/sqrt(2) = 0.7071, 1/1.21 = 0.8264, 1/2 = 0.5
		{"b at two settings, less is better", "lower", "", []analysis.SettingComparison{settingWith(10, analysis.VerdictB, 0.25, 0.21, 1), settingWith(15, analysis.VerdictB, 0.6, 0.21, 1)},
			Sentence{Good, "From 10 W to 15 W unit-elm is ahead by 29.3 % (17.4 to 50.0) on average, from 20.0 % at 10 W to 37.5 % at 15 W."}},
		{"named settings", "higher", "", []analysis.SettingComparison{quiet, fast},
			Sentence{Good, "From quiet to fast unit-oak is ahead by 32.0 % (15.5 to 56.0) on average, from 21.0 % at fast to 44.0 % at quiet."}},
		{"measured watts", "higher", analysis.AtSystem, []analysis.SettingComparison{settingWith(9.96, analysis.VerdictA, 0.1, 0.05, 0.16)},
			Sentence{Good, "At 10.0 W unit-oak is ahead by 10.0 % (5.0 to 16.0)."}},
	} {
		first, last := c.settings[0], c.settings[len(c.settings)-1]
		cmp := &analysis.Comparison{A: "unit-oak", B: "unit-elm", Better: c.better, At: c.at, Margin: 0.02}
		// What lies beyond the band does not count.
		cmp.Settings = slices.Concat([]analysis.SettingComparison{settingWith(5, first.Verdict, 9, 8, 10)}, c.settings, []analysis.SettingComparison{settingWith(54, first.Verdict, 9, 8, 10)})
		if got := Band(cmp, analysis.Band{FromW: first.SettingW, From: first.Setting, ToW: last.SettingW, To: last.Setting, Verdict: first.Verdict}); got != c.want {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

// On the whole, and over several workloads.
func TestOverall(t *testing.T) {
	for _, c := range []struct {
		verdict            analysis.Verdict
		better             string
		diff, lower, upper analysis.Number
		overall, across    string
	}{
		{analysis.VerdictA, "higher", 0.1, 0.05, 0.16, "Over all shared settings unit-oak is ahead by 10.0 % (5.0 to 16.0).", "Over 2 workloads unit-oak is ahead by 10.0 % (5.0 to 16.0)."},
		{analysis.VerdictB, "higher", -0.2, -0.375, -0.1, "Over all shared settings no cores set is ahead by 25.0 % (11.1 to 60.0).", "Over 2 workloads no cores set is ahead by 25.0 % (11.1 to 60.0)."},
		{analysis.VerdictA, "lower", -0.2, -0.3, -0.05, "Over all shared settings unit-oak is ahead by 20.0 % (5.0 to 30.0).", "Over 2 workloads unit-oak is ahead by 20.0 % (5.0 to 30.0)."},
		{analysis.VerdictTie, "higher", 0.005, -0.01, 0.02, "Over all shared settings the two are level within 1.5 %: unit-oak over no cores set +0.5 % (-1.0 to 2.0).",
			"Over 2 workloads unit-oak and no cores set are level within the margin: unit-oak over no cores set +0.5 % (-1.0 to 2.0)."},
		{analysis.VerdictUnclear, "higher", 0.05, analysis.Unknown(), analysis.Unknown(), "Over all shared settings it cannot be told who is ahead: unit-oak over no cores set +5.0 %.",
			"Over 2 workloads it cannot be told whether unit-oak or no cores set is ahead: unit-oak over no cores set +5.0 %."},
	} {
		cmp := &analysis.Comparison{A: "unit-oak", B: "cores=", Better: c.better, Margin: 0.015, Overall: &analysis.Overall{Diff: c.diff, Lower: c.lower, Upper: c.upper, Verdict: c.verdict}}
		if got, want := Overall(cmp), (Sentence{Plain, c.overall}); got != want {
			t.Errorf("%s: got %v, want %v", c.verdict, got, want)
		}
		if got := Across("unit-oak", "cores=", analysis.Across{Workloads: 2, Better: c.better, Diff: c.diff, Lower: c.lower, Upper: c.upper, Verdict: c.verdict}); got != c.across {
			t.Errorf("%s: got %q, want %q", c.verdict, got, c.across)
		}
	}
}

// All of a comparison, in the order in which it is read.
func TestCompareSays(t *testing.T) {
	c := &analysis.Comparison{A: "unit-oak", B: "unit-elm", Better: "higher", Margin: 0.02,
		Settings:  []analysis.SettingComparison{settingWith(10, analysis.VerdictA, 0.1, 0.05, 0.16), settingWith(15, analysis.VerdictB, -0.2, -0.375, -0.1)},
		Bands:     []analysis.Band{{FromW: 10, ToW: 10, Verdict: analysis.VerdictA}, {FromW: 15, ToW: 15, Verdict: analysis.VerdictB}},
		Crossings: []analysis.Crossing{{AtW: 12, LowerW: 11, UpperW: 13}},
		Overall:   &analysis.Overall{Diff: 0.005, Lower: -0.01, Upper: 0.02, Verdict: analysis.VerdictTie},
		Flagged:   []analysis.FlaggedRun{{Run: "20261124-0123456789ab", SettingW: 15, N: 3}}}
	want := []Sentence{
		{Good, "At 10 W unit-oak is ahead by 10.0 % (5.0 to 16.0)."},
		{Good, "At 15 W unit-elm is ahead by 25.0 % (11.1 to 60.0)."},
		{Plain, "The lead changes at 12.0 W (11.0 to 13.0)."},
		{Plain, "Over all shared settings the two are level within 2 %: unit-oak over unit-elm +0.5 % (-1.0 to 2.0)."},
		{Plain, "Unlike its repeats, and counted all the same: 456789ab at 15 W."},
	}
	if got := Compare(c); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got := Compare(&analysis.Comparison{}); len(got) != 0 {
		t.Errorf("nothing shared: got %v", got)
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
