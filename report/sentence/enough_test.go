package sentence

import (
	"testing"

	"sweepd/analysis"
)

// What is enough is a range: in full with and without an upper end, and at the top only
// where it is no wider than a third of what was tested (here 16 of 48 W).
func TestEnoughIsARange(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		name        string
		e           analysis.Enough
		full, atTop string
	}{
		{"a range", analysis.Enough{AtW: 40, FromW: 38, ToW: 43, Share: 0.95}, "95 % of the best needs 38 to 43 W.", "95 % of the best needs 38 to 43 W."},
		{"a third", analysis.Enough{AtW: 30, FromW: 27, ToW: 43, Share: 0.95}, "95 % of the best needs 27 to 43 W.", "95 % of the best needs 27 to 43 W."},
		{"wide", analysis.Enough{AtW: 30, FromW: 26, ToW: 43, Share: 0.95}, "95 % of the best needs 26 to 43 W.", ""},
		{"no upper end", analysis.Enough{AtW: 40, FromW: 38, ToW: u, Share: 0.95}, "95 % of the best needs at least 38 W; more runs would say how much.", "95 % of the best needs at least 38 W; more runs would say how much."},
		{"one setting", analysis.Enough{AtW: 40, FromW: 40, ToW: 40, Share: 0.9}, "90 % of the best needs 40 W.", "90 % of the best needs 40 W."},
		{"no noise", analysis.Enough{AtW: 40, FromW: u, ToW: u, Share: 0.95}, "40 W is enough for 95 % of the best result.", ""},
		{"unknown", analysis.Enough{AtW: u, FromW: u, ToW: u, Share: 0.95}, "", ""},
	} {
		g := untold()
		g.Enough, g.Points = c.e, []analysis.CurvePoint{{SettingW: 6, Lower: u, Upper: u}, {SettingW: 54, Lower: u, Upper: u}}
		if got := Enough(g); got != c.full {
			t.Errorf("%s: %q, want %q", c.name, got, c.full)
		}
		if got := ToSet(&analysis.CurveResult{}, g); got != c.atTop {
			t.Errorf("%s, at the top: %q, want %q", c.name, got, c.atTop)
		}
	}
}

// The battery empties through the whole device: on battery most per watt is by its watts,
// where they are known.
func TestMostPerWattOnBattery(t *testing.T) {
	byPackage := analysis.Efficiency{By: analysis.ByPackage, PeakW: 8, FromW: 8, ToW: 8}
	bySystem := analysis.Efficiency{By: analysis.BySystem, PeakW: 12, FromW: 12, ToW: 12}
	g := untold()
	u := analysis.Unknown()
	g.Efficiency, g.Efficiencies = byPackage, []analysis.Efficiency{byPackage, bySystem}
	g.Points = []analysis.CurvePoint{{SettingW: 8, Lower: u, Upper: u}, {SettingW: 12, Lower: u, Upper: u}}
	for _, c := range []struct{ supply, toSet, full string }{
		{"battery", "Most efficient, by watts of the whole device, is 12 W.", "Most efficient, by watts of the whole device, is 12 W; no other setting comes near."},
		{"mains", "Most efficient, by package watts, is 8 W.", "Most efficient, by package watts, is 8 W; no other setting comes near."},
	} {
		g.Supply = c.supply
		if got := ToSet(&analysis.CurveResult{}, g); got != c.toSet {
			t.Errorf("on %s: %q, want %q", c.supply, got, c.toSet)
		}
		if got := Curve(g); len(got) != 1 || got[0].Text != c.full {
			t.Errorf("on %s: %v, want %q", c.supply, got, c.full)
		}
	}
	g.Supply, g.Efficiencies = "battery", g.Efficiencies[:1]
	if got, want := ToSet(&analysis.CurveResult{}, g), "Most efficient, by package watts, is 8 W."; got != want {
		t.Errorf("without watts of the whole device: %q, want %q", got, want)
	}
}
