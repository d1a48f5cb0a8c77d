package sentence

import (
	"slices"
	"strings"
	"testing"

	"sweepd/analysis"
)

// Who is ahead is said of the settings that both sides keep to; a comparison in which all
// are kept, or none is known not to be, is said whole.
func TestCompareSaysWhatBothKeep(t *testing.T) {
	no, yes := false, true
	setting := func(w, d analysis.Number, v analysis.Verdict, followed *bool) analysis.SettingComparison {
		return analysis.SettingComparison{SettingW: w, NA: 3, NB: 3, Diff: d, Lower: d - 0.01, Upper: d + 0.01, Verdict: v, Followed: followed}
	}
	six, twelve, thirty := setting(6, 0.5, analysis.VerdictA, &no), setting(12, 0.1, analysis.VerdictA, &yes), setting(30, -0.1, analysis.VerdictB, &no)
	c := analysis.Comparison{A: "unit-oak", B: "unit-elm", Better: "higher", Margin: 0.02,
		Settings: []analysis.SettingComparison{six, twelve, thirty},
		Bands:    []analysis.Band{bandOf(six, twelve), bandOf(thirty)}, Crossings: []analysis.Crossing{{AtW: 20, LowerW: 18, UpperW: 22}},
		Overall:       &analysis.Overall{Diff: 0.17, Lower: 0.15, Upper: 0.19, Verdict: analysis.VerdictA},
		BandsFollowed: []analysis.Band{bandOf(twelve)}, OverallFollowed: &analysis.Overall{Diff: 0.1, Lower: 0.092, Upper: 0.108, Verdict: analysis.VerdictA}}
	part := []string{"At 12 W unit-oak is ahead by 10.0 % (9.0 to 11.0).", "Not counted in this: 6 W and 30 W, where a side does not keep to the setting."}
	if got := texts(Compare(&c)); !slices.Equal(got, part) {
		t.Errorf("got %q, want %q", got, part)
	}
	if len(c.Bands) != 2 || c.Part {
		t.Errorf("the comparison was changed: %+v", c)
	}
	for i := range c.Settings {
		c.Settings[i].Followed = nil
	}
	if got := texts(Compare(&c)); len(got) != 3 || !strings.HasPrefix(got[0], "The lead changes at 20.0 W (18.0 to 22.0)") || !strings.HasPrefix(got[1], "From 6 W to 12 W unit-oak is ahead by 28.5 %") {
		t.Errorf("without package watts: %q", got)
	}
}

func texts(list []Sentence) (out []string) {
	for _, s := range list {
		out = append(out, s.Text)
	}
	return out
}

// A cap on one supply alone is told with what the other lets through; where both keep to
// the same settings, or the sides are no supplies, nothing is.
func TestCapBySupply(t *testing.T) {
	u := analysis.Unknown()
	group := func(supply string, to, cap analysis.Number) analysis.CurveGroup {
		return analysis.CurveGroup{Device: "unit-oak", Workload: "tile-sort", Supply: supply, Effective: analysis.Effective{FromW: 5, ToW: to, FloorW: u, CapW: cap}}
	}
	device := "unit-oak"
	c := &analysis.Comparison{Factor: "supply", A: "battery", B: "mains", Workload: "tile-sort", Device: &device}
	for _, x := range []struct {
		name           string
		battery, mains analysis.CurveGroup
		want           string
	}{
		{"on battery", group("battery", 25, 28.4), group("mains", 54, u), "On battery it is capped: set above 25 W it acts as if set to 28.4 W; on mains it follows settings up to 54 W."},
		{"on mains", group("battery", 54, u), group("mains", 25, 28.4), "On mains it is capped: set above 25 W it acts as if set to 28.4 W; on battery it follows settings up to 54 W."},
		{"on both, lower on battery", group("battery", 20, 22), group("mains", 35, 38), "On battery it is capped: set above 20 W it acts as if set to 22.0 W; on mains it follows settings up to 35 W."},
		{"on both alike", group("battery", 25, 28.4), group("mains", 25, 28.6), ""},
		{"on none", group("battery", 54, u), group("mains", 54, u), ""},
		{"other settings tested", group("battery", 40, u), group("mains", 54, u), ""},
	} {
		r := &analysis.CurveResult{Groups: []analysis.CurveGroup{x.mains, x.battery}}
		var want []string
		if x.want != "" {
			want = []string{x.want}
		}
		if got := texts(CapBySupply(r, c)); !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", x.name, got, want)
		}
	}
	c.Factor = "device"
	if got := CapBySupply(&analysis.CurveResult{Groups: []analysis.CurveGroup{group("battery", 25, 28), group("mains", 54, u)}}, c); got != nil {
		t.Errorf("of devices: %v", got)
	}
}
