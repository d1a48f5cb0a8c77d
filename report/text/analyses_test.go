package text

import (
	"strings"
	"testing"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

func flowing(s string) string { return strings.Join(strings.Fields(s), " ") }

// TestAheadReadsTheRightWayRound works an example by hand: a takes 95 s, b takes
// 100 s. Where less is better a is ahead with 5 % less, where more is better it is behind
// by 5 %: the number is a/b - 1 whichever side is ahead.
func TestAheadReadsTheRightWayRound(t *testing.T) {
	more := 2
	c := analysis.Comparison{
		Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "time", Unit: "s", Margin: 0.02, Confidence: 0.95, At: analysis.AtSetting,
		NoiseA: 0.01, NoiseB: 0.01,
		Settings: []analysis.SettingComparison{
			{SettingW: 10, NA: 3, NB: 3, MeanA: 95, MeanB: 100, Diff: -0.05, Lower: -0.06, Upper: -0.04},
			{SettingW: 15, NA: 3, NB: 3, MeanA: 95, MeanB: 95, Diff: 0, Lower: -0.03, Upper: 0.03, Verdict: analysis.VerdictUnclear, MoreRuns: &more},
		},
		Bands: []analysis.Band{{FromW: 10, ToW: 10, Diff: -0.05, Lower: -0.06, Upper: -0.04}, {FromW: 15, ToW: 15, Verdict: analysis.VerdictUnclear}},
	}
	for better, want := range map[string]struct {
		verdict  analysis.Verdict
		sentence string
	}{
		"lower":  {analysis.VerdictA, "At 10 W unit-oak is ahead, with 5.0 % less time (4.0 to 6.0)."},
		"higher": {analysis.VerdictB, "At 10 W unit-oak is behind by 5.0 % (4.0 to 6.0)."},
	} {
		c.Better = better
		c.Settings[0].Verdict, c.Bands[0].Verdict = want.verdict, want.verdict
		var b strings.Builder
		if err := Compare(&b, analysis.CompareResult{Comparisons: []analysis.Comparison{c}}, Options{}); err != nil {
			t.Fatal(err)
		}
		for _, s := range []string{want.sentence, "At 15 W it cannot be told who is ahead: 2 more runs of each side are advised."} {
			if !strings.Contains(flowing(b.String()), s) {
				t.Errorf("%s is better: lacks %q:\n%s", better, s, b.String())
			}
		}
	}
}

// TestUnknownNumbers shows dashes where nothing is known, also for settings that
// have a name only.
func TestUnknownNumbers(t *testing.T) {
	u := analysis.Unknown()
	compare := analysis.CompareResult{Comparisons: []analysis.Comparison{{
		Workload: "tile-sort", A: "battery", B: "mains", Metric: "score", Better: "higher", Margin: 0.02, Confidence: 0.95, NoiseA: u, NoiseB: u,
		Settings: []analysis.SettingComparison{{SettingW: u, Setting: "quiet", NA: 1, NB: 0, MeanA: 3, MeanB: u, Diff: u, Lower: u, Upper: u, SE: u, DF: u, PAdjusted: u, Verdict: analysis.VerdictUnclear}},
		Overall:  &analysis.Overall{Diff: 0.1, Lower: u, Upper: u, SE: u, DF: u, Verdict: analysis.VerdictUnclear},
	}}}
	curve := analysis.CurveResult{Metric: "score", Better: "higher", Confidence: 0.95, Groups: []analysis.CurveGroup{{
		Workload: "tile-sort", Noise: u, KneeW: u, Enough: analysis.Enough{AtW: u, FromW: u, ToW: u},
		Points:     []analysis.CurvePoint{{SettingW: u, Setting: "quiet", N: 1, Mean: 3, Lower: u, Upper: u, PackageW: u, SystemW: u, PerPackageW: u, PerSystemW: u, PerSettingW: u}},
		Effective:  analysis.Effective{FromW: u, ToW: u, FloorW: u, CapW: u},
		Efficiency: analysis.Efficiency{PeakW: u, FromW: u, ToW: u},
	}}}
	battery := analysis.BatteryResult{Confidence: 0.95, Groups: []analysis.BatteryGroup{{
		Workload: "tile-sort", FullEnergyWh: u, Health: u, Noise: u,
		Points:   []analysis.BatteryPoint{{SettingW: u, Setting: "quiet", N: 1, SystemW: 20, Lower: u, Upper: u, RuntimeH: u, RuntimeLowerH: u, RuntimeUpperH: u}},
		Overhead: analysis.Overhead{InterceptW: u, InterceptLowerW: u, InterceptUpperW: u, Slope: u, SlopeLower: u, SlopeUpper: u},
	}}}
	var b strings.Builder
	for _, err := range []error{Compare(&b, compare, Options{}), Curve(&b, curve, Options{}), Battery(&b, battery, Options{})} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if out := b.String(); strings.Contains(out, "NaN") || strings.Contains(out, "Inf") || strings.Count(out, "quiet") != 3 || !strings.Contains(out, sentence.Dash) {
		t.Errorf("got\n%s", out)
	}
}

func TestColourIsOptional(t *testing.T) {
	if s := (Options{Colour: true}).Paint("reject\x1b[0m", Bad); s != "\x1b[31mreject\\u001b[0m\x1b[0m" {
		t.Errorf("with colour: %q", s)
	}
	if s := (Options{}).Paint("reject", Bad); s != "reject" {
		t.Errorf("without: %q", s)
	}
}

func TestWrap(t *testing.T) {
	got := (Options{Width: 20}).Wrap("  note: one two three four aVeryLongWordThatDoesNotFitAnywhere end", "    ")
	want := "  note: one two\n    three four\n    aVeryLongWordThatDoesNotFitAnywhere\n    end"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// TestWantedNamesTheHardSettings: settings that need far more runs than the others
// are named, one that holds a run unlike its repeats says so.
func TestWantedNamesTheHardSettings(t *testing.T) {
	c := analysis.Comparison{Workload: "tile-sort", A: "battery", B: "mains", Metric: "score", Better: "higher", Margin: 0.02, Confidence: 0.95,
		Bands: []analysis.Band{{FromW: 5, ToW: 25, Verdict: analysis.VerdictUnclear}}, Flagged: []analysis.FlaggedRun{{Run: "x", SettingW: 25}}}
	for i, more := range []int{2, 3, 2, 46, 90} {
		w := analysis.Number(5 * (i + 1))
		c.Settings = append(c.Settings, analysis.SettingComparison{SettingW: w, NA: 3, NB: 3, Verdict: analysis.VerdictUnclear, MoreRuns: &more})
	}
	var b strings.Builder
	if err := Compare(&b, analysis.CompareResult{Comparisons: []analysis.Comparison{c}}, Options{}); err != nil {
		t.Fatal(err)
	}
	want := "From 5 W to 25 W it cannot be told who is ahead: 2 to 3 more runs of each side at each setting are advised, but 46 at 20 W; a run unlike its repeats stands in the way at 25 W."
	if !strings.Contains(flowing(b.String()), want) {
		t.Errorf("lacks %q:\n%s", want, b.String())
	}
}
