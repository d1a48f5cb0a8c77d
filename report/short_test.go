package report

import (
	"testing"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// How many runs there are, and how many of them are in no number, each with its reason.
func TestHowMany(t *testing.T) {
	result := map[string]run.Result{"score": {}}
	doubt := []run.Finding{{Severity: run.SeverityNote}, {Severity: run.SeverityDoubt}}
	good := run.Run{State: run.Finished, Results: result}
	for _, c := range []struct {
		name string
		all  []run.Run
		used []run.Run
		want string
	}{
		{"one", []run.Run{good}, []run.Run{good}, "1 run"},
		{"two", []run.Run{good, good}, []run.Run{good, good}, "2 runs"},
		{"a note is no doubt", []run.Run{{State: run.Finished, Results: result, Findings: doubt[:1]}}, nil, "1 run"},
		{"a doubt", []run.Run{{State: run.Finished, Results: result, Findings: doubt}, good}, nil, "2 runs (1 counted with a doubt)"},
		{"a doubt without a result is in no number", []run.Run{{State: run.Finished, Findings: doubt}}, nil, "1 run"},
		{"rejected with a doubt, and interrupted", []run.Run{{State: run.Rejected, Results: result, Findings: doubt}, {State: run.Rejected}, {State: run.Interrupted}}, nil, "3 runs (1 interrupted, 2 rejected)"},
		{"without a result", []run.Run{good, {State: run.Finished}}, []run.Run{good, {State: run.Finished}}, "2 runs (1 without a result)"},
		{"only those that count are known", nil, []run.Run{good, good}, "2 runs"},
	} {
		b := &builder{in: &Input{Runs: c.all}, study: &Study{Topics: []Topic{{Metric: "score"}}, runs: c.used}}
		if got := b.howMany(); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Of gains in runtime those that are more than noise, and longer.
func TestSignificantGains(t *testing.T) {
	gain := func(watts, minutes analysis.Number, significant bool) analysis.RuntimeGain {
		return analysis.RuntimeGain{Variant: "cores=6", SettingW: watts, Minutes: minutes, Lower: minutes - 10, Upper: minutes + 10, Significant: significant}
	}
	g := &analysis.BatteryGroup{Gains: []analysis.RuntimeGain{gain(5, 60, true), gain(10, 8, false), gain(15, -20, true)}, Flagged: []analysis.FlaggedRun{{Run: "a", N: 3}},
		Measured: []analysis.MeasuredRuntime{{Run: "a", PredictedH: analysis.Unknown()}}}
	if got, want := wordsOf(significantGains(g)), "With no variant the battery lasts longer than with cores=6, by 1 h 00 min (50 min to 1 h 10 min) at 5 W."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if len(g.Gains) != 3 || len(g.Flagged) != 1 || len(g.Measured) != 1 {
		t.Errorf("the group was changed: %+v", g)
	}
}

// How the intervals hold: what is said depends on how many comparisons there are, on whether there is a plateau, and on whether runs are advised.
func TestBrackets(t *testing.T) {
	more := 3
	comparison := analysis.Comparison{}
	open := analysis.Comparison{Settings: []analysis.SettingComparison{{MoreRuns: &more}}}
	const base = "Two numbers in brackets are the ends of a 95 % interval."
	efficiency := func(from, to analysis.Number) []analysis.CurveGroup {
		return []analysis.CurveGroup{{Efficiency: analysis.Efficiency{FromW: from, ToW: to}}}
	}
	for _, c := range []struct {
		name   string
		topics []Topic
		want   string
	}{
		{"no comparison", []Topic{{Metric: "score"}}, base},
		{"one", []Topic{{Metric: "score", Device: &analysis.CompareResult{Comparisons: []analysis.Comparison{comparison}}}}, base + " The page makes 1 comparison; its intervals hold at all its settings together."},
		{"of devices, supplies and variants", []Topic{{Metric: "score", Device: &analysis.CompareResult{Comparisons: []analysis.Comparison{comparison}}, Supply: &analysis.CompareResult{Comparisons: []analysis.Comparison{comparison}}}, {Metric: "score",
			Variants: []VariantComparison{{"cores", analysis.CompareResult{Comparisons: []analysis.Comparison{open, comparison}}}}}},
			base + " The page makes 4 comparisons; what the answers say of them holds for all of them together, the intervals of a table at all its settings together. " + sentence.Advised},
		{"a plateau", []Topic{{Metric: "score", Curve: analysis.CurveResult{Groups: efficiency(5, 8)}}}, base + " Settings are about as good (a plateau) where they are less than 5 % worse than the best or cannot be told from it."},
		{"no plateau", []Topic{{Metric: "score", Curve: analysis.CurveResult{Groups: efficiency(5, 5)}}}, base},
	} {
		if got := (&builder{study: &Study{Topics: c.topics}}).brackets(); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// Several pairs have to be named, one pair not.
func TestSeveralPairs(t *testing.T) {
	pair := func(a, b string) analysis.Comparison { return analysis.Comparison{A: a, B: b} }
	for _, c := range []struct {
		list []analysis.Comparison
		want bool
	}{{[]analysis.Comparison{pair("a", "b")}, false}, {[]analysis.Comparison{pair("a", "b"), pair("a", "b")}, false}, {[]analysis.Comparison{pair("a", "b"), pair("c", "b")}, true}, {[]analysis.Comparison{pair("a", "b"), pair("a", "c")}, true}, {nil, false}} {
		if got := severalPairs(c.list); got != c.want {
			t.Errorf("%v: %v", c.list, got)
		}
	}
}

// Where a device did not keep to a setting: what it drew, once or from the least to the
// most, and whether everywhere.
func TestDisobeyedInWords(t *testing.T) {
	for _, c := range []struct {
		d    disobeyed
		want string
	}{
		{disobeyed{setting: "5 W", cells: 2, all: 2, least: 7, most: 7.001}, "at 5 W it drew 7.00 W"},
		{disobeyed{setting: "5 W", cells: 2, all: 3, least: 7, most: 11.5}, "at 5 W it drew 7.00 to 11.5 W, though not everywhere"},
		{disobeyed{setting: "5 W", to: "10 W", cells: 4, all: 4, least: 10.9, most: 11.1}, "from 5 W to 10 W it drew 10.9 to 11.1 W"},
		{disobeyed{setting: "quiet", cells: 1, all: 1, least: 1, most: -1}, "at quiet"}, // nothing is known of what it drew
	} {
		if got := c.d.words(); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestTitlesOfComparisons(t *testing.T) {
	text := func(s string) *string { return &s }
	for _, c := range []struct {
		c    analysis.Comparison
		want string
	}{
		{analysis.Comparison{Device: text("unit-oak"), Variant: text("cores=6"), Supply: text("mains")}, "unit-oak, cores=6, on mains"},
		{analysis.Comparison{Variant: text(""), Supply: text("")}, "on an unknown supply"},
		{analysis.Comparison{Device: text("unit-oak")}, "unit-oak"},
		{analysis.Comparison{}, ""},
	} {
		if got := conditions(&c.c); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	if got, want := against(&analysis.Comparison{A: "cores=6", B: "cores="}), "cores=6 against no cores set"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Curves are called by what differs among them.
func TestLegendNames(t *testing.T) {
	of := func(device string, variant run.Variant) run.Run {
		return run.Run{Labels: run.Labels{Device: device, Variant: variant}}
	}
	for _, c := range []struct {
		runs []run.Run
		want string
	}{
		{[]run.Run{of("unit-oak", "cores=6")}, "unit-oak"},
		{[]run.Run{of("unit-oak", "cores=6"), of("unit-oak", "")}, "cores=6"},
		{[]run.Run{of("unit-oak", "cores=6"), of("unit-elm", "")}, "unit-oak, cores=6"},
		{[]run.Run{of("unit-oak", "cores=6"), of("unit-elm", "cores=6")}, "unit-oak"},
	} {
		l := newLegend(&Study{runs: c.runs}, nil)
		if got := l.name("unit-oak", "cores=6"); got != c.want {
			t.Errorf("%v: %q, want %q", c.runs, got, c.want)
		}
	}
	l := newLegend(&Study{runs: []run.Run{of("unit-oak", ""), of("", "cores=6")}}, nil)
	if got := l.name("unit-oak", "") + "; " + l.name("", "cores=6"); got != "unit-oak, as it comes; unnamed device, cores=6" {
		t.Errorf("got %q", got)
	}
}
