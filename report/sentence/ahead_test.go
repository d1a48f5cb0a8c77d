package sentence

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"sweepd/analysis"
)

// verdicts are a comparison of unit-elm with unit-oak by one letter for each setting: a and b
// ahead by 10 %, t a tie, u unclear, and x not kept by a device, which ends bands.
func verdicts(workload, supply string, settings []float64, letters string) *analysis.Comparison {
	c := &analysis.Comparison{Metric: "score", Workload: workload, Factor: "device", A: "unit-elm", B: "unit-oak", Supply: &supply, Variant: new(string),
		At: analysis.AtSetting, Better: "higher", Margin: 0.02}
	more := 4
	last := ""
	for i, w := range settings {
		letter := letters[i : i+1]
		watts, kept := analysis.Number(w), letter != "x"
		s := analysis.SettingComparison{SettingW: watts, NA: 3, NB: 3, Followed: &kept}
		switch letter {
		case "a":
			s.Verdict, s.Diff = analysis.VerdictA, 0.1
		case "b":
			s.Verdict, s.Diff = analysis.VerdictB, -0.1
		case "t":
			s.Verdict = analysis.VerdictTie
		default:
			s.Verdict, s.Diff, s.MoreRuns = analysis.VerdictUnclear, 0.01, &more
		}
		c.Settings = append(c.Settings, s)
		if letter == "x" {
			last = letter
			continue
		}
		if letter == last {
			c.Bands[len(c.Bands)-1].ToW = watts
			continue
		}
		c.Bands = append(c.Bands, analysis.Band{FromW: watts, ToW: watts, Verdict: s.Verdict})
		last = letter
	}
	return c
}

var eight = []float64{5, 8, 10, 12, 15, 18, 21, 25}

func overall(c *analysis.Comparison, v analysis.Verdict, d, lower, upper analysis.Number) *analysis.Comparison {
	c.Overall = &analysis.Overall{Verdict: v, Diff: d, Lower: lower, Upper: upper}
	return c
}

func joinedParts(parts []part) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteString(p.text)
	}
	return b.String()
}

// Who is ahead where, over workloads and supplies: what is the same is said once, where all
// of them have it; what differs is named; a lone setting between undecided ones is no
// headline; what is level is not ahead.
func TestWhoIsAhead(t *testing.T) {
	a, b := analysis.VerdictA, analysis.VerdictB
	of := func(supply, letters string) *analysis.Comparison {
		return verdicts("harbour-flight", supply, eight, letters)
	}
	sort := func(supply, letters string) *analysis.Comparison {
		return verdicts("tile-sort", supply, eight, letters)
	}
	lower := of("mains", "aaaauuuu")
	lower.Better = "lower"
	slower := of("mains", "bbbbbbbb")
	slower.Better, slower.Unit = "lower", "s"
	for i := range lower.Settings {
		lower.Settings[i].Diff *= -1
		slower.Settings[i].Diff *= -1
	}
	for _, c := range []struct {
		name string
		list []*analysis.Comparison
		want string
	}{
		{"no crossing", []*analysis.Comparison{of("mains", "aaaaaaaa")}, "unit-elm is ahead of unit-oak by 10 % at every setting"},
		{"less is better", []*analysis.Comparison{lower}, "unit-elm is ahead of unit-oak, with 10 % less, up to 12 W"},
		{"less time is better", []*analysis.Comparison{slower}, "unit-elm is behind unit-oak, taking 10 % more time, at every setting"},
		{"one crossing", []*analysis.Comparison{of("mains", "aaauubbb")}, "unit-elm is ahead of unit-oak by 10 % up to 10 W and behind by 10 % from 18 W on"},
		{"two crossings", []*analysis.Comparison{of("mains", "aaubbuaa")}, "unit-elm is ahead of unit-oak by 10 % up to 8 W, behind by 10 % from 12 to 15 W and ahead by 10 % from 21 W on"},
		{"bands of all conditions", []*analysis.Comparison{of("battery", "aaaauubb"), of("mains", "uaaauubb"), sort("battery", "aaauubbb"), sort("mains", "aaaaubbu")},
			"unit-elm is ahead of unit-oak by 10 % from 8 to 10 W and behind by 10 % at 21 W, in both workloads, plugged in and on battery"},
		{"settings that are not kept are not said", []*analysis.Comparison{of("mains", "xaaubbxx")}, "unit-elm is ahead of unit-oak by 10 % from 8 to 10 W and behind by 10 % from 15 to 18 W"},
		{"not every workload on every supply", []*analysis.Comparison{of("mains", "aaaaaaaa"), of("battery", "aaaaaaaa"), sort("mains", "aaaaaaaa")}, "unit-elm is ahead of unit-oak by 10 % at every setting, wherever they were compared"},
		{"by workload", []*analysis.Comparison{of("mains", "aaaaaaaa"), of("battery", "aaaaaaaa"), sort("mains", "bbbbbbbb"), sort("battery", "bbbbbbbb")},
			"In harbour-flight unit-elm is ahead of unit-oak by 10 % at every setting; in tile-sort it is behind by 10 % at every setting"},
		{"by supply", []*analysis.Comparison{of("mains", "aaaauuuu"), of("battery", "uuuuuuuu"), sort("mains", "aaaaauuu"), sort("battery", "uuuuuuuu")},
			"Plugged in unit-elm is ahead of unit-oak by 10 % up to 12 W; on battery it cannot be told apart: 4 more runs of each at each setting are advised"},
		{"one odd corner", []*analysis.Comparison{of("mains", "aaaauuuu"), of("battery", "aaaauuuu"), sort("mains", "aaaauuuu"), sort("battery", "uuuubbbb")},
			"Everywhere but in tile-sort on battery, unit-elm is ahead of unit-oak by 10 % up to 12 W; in tile-sort on battery it is behind by 10 % from 15 W on"},
		{"the same order without a setting in common", []*analysis.Comparison{of("mains", "aauuuuuu"), of("battery", "uuuuuaau")},
			"Plugged in unit-elm is ahead of unit-oak by 10 % up to 8 W; on battery it is ahead by 10 % from 18 to 21 W"},
		{"a lone setting", []*analysis.Comparison{overall(of("mains", "uuuauuuu"), a, 0.03, 0.01, 0.05)}, "unit-elm is ahead of unit-oak by about 3 % on the whole, though hardly a setting tells by itself"},
		{"a lone setting at the end", []*analysis.Comparison{overall(of("mains", "uuuuuuub"), analysis.VerdictUnclear, 0, -0.1, 0.1)}, "unit-elm is behind unit-oak by 10 % at 25 W"},
		{"a lone setting of several", []*analysis.Comparison{of("mains", "uuuauuuu"), of("battery", "uuuauuuu")}, "unit-elm is ahead of unit-oak by 10 % at 12 W, plugged in and on battery"},
		{"a lone setting of one of several", []*analysis.Comparison{of("mains", "uuuauuuu"), of("battery", "uuuuuuuu")}, "unit-elm cannot be told from unit-oak but at a single setting: 4 more runs of each at each setting are advised, plugged in and on battery"},
		{"one of two settings", []*analysis.Comparison{overall(verdicts("tile-sort", "mains", eight[:2], "bu"), b, -0.06, -0.09, -0.03)}, "unit-elm is behind unit-oak by 10 % at 5 W"},
		{"a lone end of a crossing", []*analysis.Comparison{of("mains", "auubbbbb")}, "unit-elm is ahead of unit-oak by 10 % at 5 W and behind by 10 % from 12 W on"},
		{"a constant difference", []*analysis.Comparison{overall(of("mains", "uuuuuuuu"), b, -0.029, -0.04, -0.018), overall(of("battery", "uuuuuuuu"), b, -0.034, -0.05, -0.02)},
			"unit-elm is behind unit-oak by about 3 % on the whole, with too few runs to say at which settings, plugged in and on battery"},
		{"level everywhere", []*analysis.Comparison{overall(of("mains", "tttttttt"), a, 0.01, 0.005, 0.015)}, "unit-elm is level with unit-oak within 2 %"},
		{"level on average", []*analysis.Comparison{overall(of("mains", "tutututu"), analysis.VerdictTie, 0, -0.01, 0.01)}, "unit-elm is level with unit-oak within 2 % on average over the settings"},
		{"ahead by less than what matters is level", []*analysis.Comparison{overall(of("mains", "uuuuuuuu"), a, 0.01, 0.005, 0.015)}, "unit-elm is level with unit-oak within 2 % on average over the settings"},
		{"nothing", nil, ""},
	} {
		if got := joinedParts(whoIsAhead(c.list)); got != c.want {
			t.Errorf("%s:\n %s\nwant\n %s", c.name, got, c.want)
		}
	}
}

// Several devices against one: those of which the same is so are said together.
func TestWhoIsAheadOfSeveral(t *testing.T) {
	against := func(device, base, workload, letters string) *analysis.Comparison {
		c := verdicts(workload, "mains", eight, letters)
		c.A, c.B = device, base
		return c
	}
	for _, c := range []struct {
		name string
		list []*analysis.Comparison
		want string
	}{
		{"all", []*analysis.Comparison{against("unit-ash", "unit-oak", "tile-sort", "bbbbbbbb"), against("unit-elm", "unit-oak", "tile-sort", "ubbbbbbb"), against("unit-fir", "unit-oak", "tile-sort", "bbbbbbbu")},
			"unit-oak is ahead of all three others, which are 10 % behind, from 8 to 21 W"},
		{"not all", []*analysis.Comparison{against("unit-ash", "unit-oak", "tile-sort", "bbbbbbbb"), against("unit-elm", "unit-oak", "tile-sort", "uuuuuuuu"), against("unit-fir", "unit-oak", "tile-sort", "bbbbbbbb"), against("unit-yew", "unit-oak", "tile-sort", "aaauubbb")},
			"unit-ash and unit-fir are behind unit-oak by 10 % at every setting; unit-yew is ahead by 10 % up to 10 W and behind by 10 % from 18 W on; unit-elm cannot be told apart: 4 more runs of each at each setting are advised"},
		{"another base in each workload", []*analysis.Comparison{against("unit-ash", "unit-oak", "harbour-flight", "bbbbbbbb"), against("unit-elm", "unit-oak", "harbour-flight", "bbbbbbbb"), against("unit-ash", "unit-elm", "tile-sort", "bbbbbbbb"), against("unit-oak", "unit-elm", "tile-sort", "bbbbbbbb")},
			"In harbour-flight unit-oak is ahead of both others, which are 10 % behind, at every setting; in tile-sort unit-elm is ahead of both others, which are 10 % behind, at every setting"},
	} {
		if got := joinedParts(whoIsAhead(c.list)); got != c.want {
			t.Errorf("%s:\n %s\nwant\n %s", c.name, got, c.want)
		}
	}
}

// What is said to be so in several comparisons is claimed in each of them: between the ends
// of what is said each has this verdict at all settings that it shares, and both ends are in
// a band of each. Nobody is said to be ahead in a comparison that is not among those.
func TestFindingsFollowFromClaims(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []*analysis.Comparison
		for _, workload := range []string{"harbour-flight", "tile-sort"} {
			for _, supply := range []string{"mains", "battery"} {
				settings := rapid.SliceOfNDistinct(rapid.SampledFrom([]float64{5, 6, 8, 10, 12, 15, 18, 21, 25, 30}), 1, 8, rapid.ID[float64]).Draw(t, "settings")
				slices.Sort(settings)
				letters := rapid.StringMatching("[abtux]{8}").Draw(t, "verdicts")
				list = append(list, verdicts(workload, supply, settings, letters))
			}
		}
		told := map[*analysis.Comparison]int{}
		for _, f := range findings(list, spotsOf(list)) {
			for _, c := range f.of {
				told[c]++
				for i, p := range f.phases {
					if i > 0 && f.phases[i-1].winner == p.winner {
						t.Fatalf("one leads twice in turn: %+v", f.phases)
					}
					for _, s := range p.where {
						claimed(t, c, p.winner, s)
					}
				}
			}
		}
		for _, c := range list {
			if told[c] != 1 {
				t.Fatalf("a comparison is in %d findings", told[c])
			}
		}
	})
}

func claimed(t *rapid.T, c *analysis.Comparison, winner analysis.Verdict, s stretch) {
	if !slices.ContainsFunc(c.Bands, func(b analysis.Band) bool { return b.Verdict == winner && b.FromW <= s.from && s.to <= b.ToW }) {
		t.Fatalf("%v to %v W is in no band of %s in %+v", s.from, s.to, winner, c.Bands)
	}
	for _, x := range c.Settings {
		if x.SettingW >= s.from && x.SettingW <= s.to && x.Verdict != winner {
			t.Fatalf("%v W is %s, said %s", x.SettingW, x.Verdict, winner)
		}
	}
}

// Settings with names only are said by name, where all comparisons have them.
func TestAheadBySettingsWithNames(t *testing.T) {
	named := func(supply, letters string) *analysis.Comparison {
		c := verdicts("tile-sort", supply, []float64{1, 2, 3}, letters)
		names := []string{"quiet", "balanced", "performance"}
		for i := range c.Settings {
			c.Settings[i].SettingW, c.Settings[i].Setting = analysis.Unknown(), names[i]
		}
		for i := range c.Bands {
			b := &c.Bands[i]
			b.From, b.To = names[int(b.FromW)-1], names[int(b.ToW)-1]
			b.FromW, b.ToW = analysis.Unknown(), analysis.Unknown()
		}
		return c
	}
	list := []*analysis.Comparison{named("mains", "aaa"), named("battery", "uaa")}
	if got, want := joinedParts(whoIsAhead(list)), "unit-elm is ahead of unit-oak by 10 % at balanced and performance, plugged in and on battery"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	none := verdicts("tile-sort", "mains", []float64{1}, "b") // runs without a setting
	none.Settings[0].SettingW, none.Bands[0].FromW, none.Bands[0].ToW = analysis.Unknown(), analysis.Unknown(), analysis.Unknown()
	if got, want := joinedParts(whoIsAhead([]*analysis.Comparison{none})), "unit-elm is behind unit-oak by 10 % at an unknown setting"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if !math.IsNaN(float64(none.Bands[0].FromW)) {
		t.Error("the comparison was changed")
	}
}
