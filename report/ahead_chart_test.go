package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/run"
)

// builderOf is a builder of a page of these runs.
func builderOf(t *testing.T, runs []run.Run) *builder {
	t.Helper()
	study, err := Ask(runs, Questions{})
	if err != nil {
		t.Fatal(err)
	}
	return newBuilder(&Input{Study: study, Runs: slices.Clone(runs)})
}

// Each stretch of a row is a band that the page claims, its number that of the claim; what is
// not claimed is open, what a side does not keep hatched, and all settings are in one of them.
func TestAheadRowsShowTheClaims(t *testing.T) {
	plots := oakAndElm()
	plots[1].curve = func(w float64) float64 { return 1.3*saturating(110)(w) - 0.012*w*saturating(110)(w) } // elm ahead at low power
	b := builderOf(t, plant(11, plots...))
	list := b.aheadCharts()
	if len(list) != 1 || len(list[0].Panels[0].Rows) != 2 {
		t.Fatalf("%d charts", len(list))
	}
	kinds := map[string]int{}
	for _, row := range list[0].Panels[0].Rows {
		supply := row.Name
		if row.Group != "harbour-flight" || supply != "mains" && supply != "battery" {
			t.Errorf("row %q %q", row.Group, row.Name)
		}
		claimed := map[string]int{}
		for _, k := range b.study.Claims {
			if k.Factor == "device" && k.At == analysis.AtSetting && k.Supply != nil && *k.Supply == supply {
				claimed[k.Kind]++
			}
		}
		leads, crossings := 0, len(row.Spots)
		last := math.Inf(-1)
		for _, p := range row.Pieces {
			kinds[fmt.Sprint(p.Kind)]++
			if p.From < last-1e-9 || !(p.From < p.To) {
				t.Errorf("%s: a piece from %v, before %v", supply, p.From, last)
			}
			last = p.To
			if p.Kind == chart.PieceLevel {
				leads++
			}
			if p.Kind != chart.PieceLead {
				continue
			}
			leads++
			found := false
			for _, k := range b.study.Claims {
				number := fmt.Sprintf("%.1f %%", math.Abs(100*float64(k.Diff)))
				found = found || k.Kind == analysis.ClaimBand && *k.Supply == supply && strings.Contains(p.Words[0], number) && p.From <= float64(k.FromW) && p.To >= float64(k.ToW)
			}
			if !found {
				t.Errorf("%s: %q is no claim of %+v", supply, p.Words, b.study.Claims)
			}
		}
		if leads != claimed[analysis.ClaimBand] || crossings != claimed[analysis.ClaimCrossing] {
			t.Errorf("%s: %d bands and %d crossings are drawn, claimed is %v", supply, leads, crossings, claimed)
		}
	}
	for _, k := range []chart.PieceKind{chart.PieceLead, chart.PieceKept} {
		if kinds[fmt.Sprint(k)] == 0 {
			t.Errorf("no piece of kind %v: %v", k, kinds)
		}
	}
	if c := list[0]; !strings.Contains(c.Lines[0], "unit-elm against unit-oak (unit-oak = 100 %)") || !strings.Contains(c.Alt, "unit-elm is behind by") {
		t.Errorf("%q, %q", c.Lines, c.Alt)
	}
}

// What no page may claim is not in the title: noise alone leads to nobody.
func TestNothingIsAheadOfItself(t *testing.T) {
	one := oakAndElm()[0]
	two := one
	two.device, one.floor, two.floor = "unit-elm", 0, 0
	c := builderOf(t, plant(12, one, two)).aheadCharts()[0]
	for _, p := range c.Panels[0].Rows[0].Pieces {
		if p.Kind == chart.PieceLead {
			t.Errorf("ahead: %q", p.Words)
		}
	}
	if !strings.Contains(c.Title, "cannot be told") && !strings.Contains(c.Title, "level") {
		t.Errorf("title %q", c.Title)
	}
}

// A constant difference too small for single settings is said once, without a place.
func TestAheadThroughout(t *testing.T) {
	one := oakAndElm()[0]
	one.floor, one.n, one.cv = 0, 2, 0.02
	two := one
	two.device, two.curve = "unit-elm", saturating(110*0.97)
	c := builderOf(t, plant(19, one, two)).aheadCharts()[0]
	words := fmt.Sprint(c.Panels[0].Rows[0].Pieces)
	if !strings.Contains(words, "behind throughout;\ntoo few runs to say where") || !strings.Contains(c.Title, "behind throughout") {
		t.Errorf("title %q, %s", c.Title, words)
	}
}

// With more than two devices, each row is one against the reference, grouped by workload and
// supply; names only, and one setting, draw as well.
func TestAheadOfManyAndAwkward(t *testing.T) {
	var plots []plot
	for i := range 5 {
		for _, supply := range []run.Supply{run.Mains, run.Battery} {
			plots = append(plots, plot{device: fmt.Sprintf("unit-%c, the one with a name that nobody can keep in mind", 'a'+i), workload: "tile-sort", metric: "score", supply: supply,
				cv: 0.004, n: 2, curve: saturating(100 + 5*float64(i)), overhead: 5, names: []string{"quiet", "balanced", "loud"}})
		}
	}
	c := builderOf(t, plant(13, plots...)).aheadCharts()[0]
	rows := c.Panels[0].Rows
	if len(rows) != 8 || rows[0].Group != rows[3].Group || rows[0].Group == rows[4].Group || len(c.Panels[0].X.Names) != 3 {
		t.Errorf("%d rows, %+v", len(rows), c.Panels[0].X)
	}
	for _, s := range []chart.Size{chart.Wide, chart.Narrow} {
		if svg := chart.SVG(&c, s, &chart.Dark); len(svg) == 0 {
			t.Error("nothing is drawn")
		}
	}
	one := plant(14, oakAndElm()...)
	one = slices.DeleteFunc(one, func(r run.Run) bool { w, _ := r.Setting.Watts(); return w != 15 })
	if c := builderOf(t, one).aheadCharts()[0]; len(c.Panels[0].Rows[0].Pieces) != 1 {
		t.Errorf("one setting: %+v", c.Panels[0].Rows)
	}
	if list := builderOf(t, plant(15, oakAndElm()[0])).aheadCharts(); len(list) != 0 {
		t.Errorf("one device: %d charts", len(list))
	}
}

// Variants that each lead somewhere have the names that they have everywhere.
func TestVariantsThatLeadAreNamed(t *testing.T) {
	none := oakAndElm()[0]
	none.floor = 0
	six, eight := none, none
	six.variant, six.curve = "cores=6", func(w float64) float64 { return 20 + none.curve(w)*0.8 }
	eight.variant, eight.curve = "cores=8", func(w float64) float64 { return none.curve(w)*1.3 - 20 }
	c := builderOf(t, plant(16, six, eight, none)).aheadCharts()[0]
	if want := "cores=6, no cores set and cores=8 each lead somewhere"; !strings.HasPrefix(c.Title, want) {
		t.Errorf("title %q, want %q", c.Title, want)
	}
}
