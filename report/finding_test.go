package report

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/run"
)

// What a title says of a comparison is what the page claims of it: who, where, by how much;
// a lone setting between undecided ones is no headline, but said, since the picture shows it.
func TestTitlesSayWhatIsClaimed(t *testing.T) {
	yes, no := true, false
	settings := func(followed ...*bool) []analysis.SettingComparison {
		var list []analysis.SettingComparison
		for i, f := range followed {
			list = append(list, analysis.SettingComparison{SettingW: analysis.Number(5 * (i + 1)), NA: 3, NB: 3, Followed: f})
		}
		return list
	}
	band := func(from, to analysis.Number, v analysis.Verdict, d analysis.Number) analysis.Claim {
		return analysis.Claim{Kind: analysis.ClaimBand, FromW: from, ToW: to, Verdict: v, Diff: d, Lower: d - 0.02, Upper: d + 0.02}
	}
	mean := func(v analysis.Verdict, d analysis.Number) analysis.Claim {
		k := band(5, 30, v, d)
		k.Kind = analysis.ClaimOverall
		return k
	}
	a, b, tie := analysis.VerdictA, analysis.VerdictB, analysis.VerdictTie
	all := settings(&yes, &yes, &yes, &yes, &yes, &yes)
	supply := "mains"
	for _, c := range []struct {
		factor, a, b string
		settings     []analysis.SettingComparison
		claims       []analysis.Claim
		lead, amount string
	}{
		{"device", "unit-elm", "unit-oak", all, nil, "No difference told between unit-elm and unit-oak", "No difference told between unit-elm and unit-oak"},
		{"device", "unit-elm", "unit-oak", all, []analysis.Claim{band(5, 30, b, -0.149)}, "unit-oak ahead at every setting", "unit-elm behind at every setting, by 14.9 % on average"},
		{"device", "unit-elm", "unit-oak", all, []analysis.Claim{band(5, 10, a, 0.093), band(20, 30, b, -0.05), mean(a, 0.01)}, "unit-elm ahead up to 10 W, unit-oak ahead from 20 W on", "unit-elm ahead by 9.3 % on average up to 10 W, behind by 5.0 % on average from 20 W on"},
		{"device", "unit-elm", "unit-oak", all, []analysis.Claim{band(15, 15, a, 0.05)}, "No difference told between unit-elm and unit-oak, but unit-elm ahead at 15 W alone", "No difference told between unit-elm and unit-oak, but unit-elm ahead at 15 W alone"},
		{"device", "unit-elm", "unit-oak", all, []analysis.Claim{band(15, 15, a, 0.05), mean(a, 0.031)}, "unit-elm ahead on average over the settings; too few runs to say at which besides 15 W", "unit-elm ahead by 3.1 % on average; too few runs to say at which besides 15 W"},
		{"device", "unit-elm", "unit-oak", all, []analysis.Claim{band(5, 30, tie, 0.001)}, "unit-elm and unit-oak level within 2 % at every setting", "unit-elm and unit-oak level within 2 % at every setting"},
		{"device", "unit-elm", "unit-oak", settings(&no, &yes, &yes, &yes, &yes, &no), []analysis.Claim{band(10, 25, a, 0.04)}, "unit-elm ahead at every setting that both keep to", "unit-elm ahead at every setting that both keep to, by 4.0 % on average"},
		{"supply", "battery", "mains", all, []analysis.Claim{band(20, 30, b, -0.05)}, "unit-oak: higher on mains from 20 W on", "unit-oak: battery behind by 5.0 % on average from 20 W on"},
	} {
		x := &analysis.Comparison{Factor: c.factor, A: c.a, B: c.b, Margin: 0.02, Better: "higher", Workload: "harbour-flight", Settings: c.settings}
		variant := ""
		switch x.Variant = &variant; c.factor {
		case "device":
			x.Supply = &supply
		default:
			device := "unit-oak"
			x.Device = &device
		}
		for i := range c.claims {
			k := &c.claims[i]
			k.Factor, k.A, k.B, k.Workload, k.Device, k.Supply, k.Variant = x.Factor, x.A, x.B, x.Workload, x.Device, x.Supply, x.Variant
		}
		of := &builder{study: &Study{Claims: c.claims}}
		if got := of.leadTitle(x); got != c.lead {
			t.Errorf("%q, want %q", got, c.lead)
		}
		if got := of.differenceTitle(x); got != c.amount {
			t.Errorf("%q, want %q", got, c.amount)
		}
	}
}

// A run's chart is called by what weighs most of what was found in it.
func TestRunsAreCalledByTheirWorstFinding(t *testing.T) {
	r := &run.Run{ID: "0001", Labels: run.Labels{Workload: "tile-sort", Setting: run.Watts(25).From(run.Declared)}}
	if got := runTitle(r); got != "tile-sort at 25 W: nothing unusual found in the run" {
		t.Errorf("%q", got)
	}
	r.Findings = []run.Finding{{Severity: run.SeverityNote, Text: "it was charging"}, {Severity: run.SeverityReject, Text: "the supply changed."}, {Severity: run.SeverityDoubt, Text: "it began hot"}}
	if got := runTitle(r); got != "The supply changed, and 2 more" {
		t.Errorf("%q", got)
	}
}

// The only finding of a run is its chart's title: the key, which has little room, does not
// say it again, and cut.
func TestTheOnlyFindingOfARunIsReadWhole(t *testing.T) {
	in := demoInput(t)
	r := &in.Runs[3]
	r.Findings = []run.Finding{{Code: run.SettingDisobeyed, Severity: run.SeverityDoubt, At: r.StartedAt.Add(30 * time.Second),
		Text: "package power was held at 40.0 W at a setting of 46 W: the device does not go that high, or the setting was not in force"}}
	charts := Compose(in).Charts()
	c := charts[slices.IndexFunc(charts, func(c chart.Chart) bool { return strings.HasPrefix(c.Name, "run-") })]
	if len(c.Key) != 1 || c.Key[0].Text != "in doubt at 30 s" {
		t.Errorf("key %+v", c.Key)
	}
	if svg := string(chart.SVG(&c, chart.Wide, &chart.Light)); strings.Contains(svg, "…") {
		t.Errorf("something is cut: %q", regexp.MustCompile(`[^>]*…`).FindString(svg))
	}
}

// Every chart of a report says what was found, what is drawn, and what was tested when, and
// its description begins with the finding.
func TestEveryChartSaysWhatWasFound(t *testing.T) {
	for _, c := range chartsOf(t, plant(12, oakAndElm()...)) {
		if c.Title == "" || len(c.Lines) == 0 || !strings.HasPrefix(c.Alt, c.Title) {
			t.Errorf("%s: title %q, lines %q, alt %q", c.Name, c.Title, c.Lines, c.Alt)
		}
		if len(c.Footer) == 0 || !strings.Contains(c.Footer[0], " · ") {
			t.Errorf("%s: footer %q", c.Name, c.Footer)
		}
		for _, text := range append([]string{c.Title}, c.Lines...) {
			if strings.Contains(text, "fps_mean") {
				t.Errorf("%s: %q has the name of the metric", c.Name, text)
			}
		}
	}
}
