package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"sweepd/analysis"
	"sweepd/run"
)

// manyDevices are so many devices of which number i is i % better than the first, on mains.
func manyDevices(n int, lower bool) []plot {
	var plots []plot
	for i := range n {
		p := plot{device: fmt.Sprintf("unit-%c", 'a'+i), workload: "tile-sort", metric: "score", supply: run.Mains, cv: 0.002, n: 3}
		p.curve = saturating(100 + float64(i))
		if p.lower = lower; lower {
			p.metric, p.unit, p.curve = "duration", "s", func(w float64) float64 { return 1000 / saturating(100+float64(i))(w) }
		}
		plots = append(plots, p)
	}
	return plots
}

func rankedBuilder(t *testing.T, runs []run.Run, device, reference string) *builder {
	t.Helper()
	own := slices.DeleteFunc(slices.Clone(runs), func(r run.Run) bool { return device != "" && r.Device != device })
	study, err := Ask(own, Questions{All: runs, Reference: reference})
	if err != nil {
		t.Fatal(err)
	}
	return newBuilder(&Input{Study: study, Runs: own})
}

// The report of one device ranks all that were tested against it: the best is at the top, each
// with the mean difference and the bounds that the page may claim.
func TestRankOfOneDevice(t *testing.T) {
	for _, lower := range []bool{false, true} {
		b := rankedBuilder(t, plant(41, manyDevices(5, lower)...), "unit-c", "")
		ranks := b.ranks(&b.study.Topics[0])
		if len(ranks) != 1 {
			t.Fatalf("%d ranks", len(ranks))
		}
		c := b.rankCharts(ranks[0])[0]
		drawn(t, c)
		var names []string
		for _, row := range c.Panels[0].Rows {
			names = append(names, row.Name)
		}
		if got := strings.Join(names, " "); got != "unit-e unit-d unit-c unit-b unit-a" {
			t.Errorf("lower %v: %s", lower, got)
		}
		claimed := 0
		for i, row := range c.Panels[0].Rows {
			spot := row.Spots[0]
			if row.Name == "unit-c" {
				if spot.At != 0 || row.Note != "= 100 %" || !math.IsNaN(spot.Lower) {
					t.Errorf("the reference: %+v", row)
				}
				continue
			}
			m := ranks[0].members[i-min(1, i/3)]
			if o := m.Overall; m.A != row.Name || spot.At != 100*float64(o.Diff) || spot.Lower != 100*float64(o.Lower) || spot.Upper != 100*float64(o.Upper) || !(spot.Lower < spot.At && spot.At < spot.Upper) {
				t.Errorf("%s: %+v beside %+v", row.Name, spot, o)
			}
			truth := 100 * ((100+float64(row.Name[5]-'a'))/102 - 1)
			if lower {
				truth = 100 * (102/(100+float64(row.Name[5]-'a')) - 1)
			}
			if spot.Lower > truth || spot.Upper < truth {
				t.Errorf("%s: %v to %v, but it is %v", row.Name, spot.Lower, spot.Upper, truth)
			}
			for _, k := range b.study.Claims {
				if k.Kind == analysis.ClaimOverall && k.Factor == "device" && k.A == row.Name && k.B == "unit-c" && 100*float64(k.Lower) == spot.Lower {
					claimed++
				}
			}
		}
		if !strings.HasPrefix(c.Title, "unit-c is, on average over the settings, ") || claimed == 0 {
			t.Errorf("title %q, %d are claimed", c.Title, claimed)
		}
		if x := ranks[0].table(); len(x.Rows) != 4 || x.Rows[0][0].Text != "unit-e" {
			t.Errorf("table %+v", x.Rows)
		}
	}
}

// All devices of a page are ranked against the best, or the one that is named; what is not
// asked for is not ranked, and one device is not ranked against itself.
func TestRankOfAllDevices(t *testing.T) {
	runs := plant(42, manyDevices(4, false)...)
	for reference, want := range map[string]string{"": "unit-d", "unit-b": "unit-b"} {
		b := rankedBuilder(t, runs, "", reference)
		ranks := b.ranks(&b.study.Topics[0])
		if len(ranks) != 1 || ranks[0].members[0].B != want || len(ranks[0].members) != 3 {
			t.Errorf("against %q: %+v", reference, ranks)
		}
		if b.study.Topics[0].All != b.study.Topics[0].Device {
			t.Error("compared twice")
		}
		if s := b.rankedDevices(); len(s.Charts) != 1 || len(s.Tables) != 1 {
			t.Errorf("%d charts", len(s.Charts))
		}
	}
	if s := builderOf(t, runs).rankedDevices(); !s.empty() {
		t.Errorf("ranked unasked: %+v", s)
	}
	if b := rankedBuilder(t, plant(43, manyDevices(1, false)...), "", ""); !slices.Equal(b.ranks(&b.study.Topics[0]), nil) {
		t.Error("one device is ranked")
	} else if s := b.rankedDevices(); len(s.Sentences) != 1 || len(s.Charts) != 0 {
		t.Errorf("it is not said: %+v", s)
	}
	if _, err := Ask(runs, Questions{All: runs, Reference: "unit-z"}); err == nil || !strings.Contains(err.Error(), "unit-z") {
		t.Errorf("unknown reference: %v", err)
	}
}

// Thirty devices make two pictures on one axis.
func TestRankOfVeryManyDevices(t *testing.T) {
	plots := manyDevices(26, false)
	for i := range plots {
		plots[i].n = 1
	}
	b := rankedBuilder(t, plant(44, plots...), "unit-a", "")
	charts := b.rankCharts(b.ranks(&b.study.Topics[0])[0])
	if len(charts) != 2 || len(charts[0].Panels[0].Rows)+len(charts[1].Panels[0].Rows) != 26 || !slices.Equal(charts[0].Panels[0].X.Also, charts[1].Panels[0].X.Also) {
		t.Errorf("%d charts", len(charts))
	}
	for _, c := range charts {
		drawn(t, c)
	}
}
