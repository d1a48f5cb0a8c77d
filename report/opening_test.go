package report

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"sweepd/report/sentence"
	"sweepd/run"
)

// opened is the text of a page as a reader meets it before the first chart.
func opened(t *testing.T, page string) string {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	met := false
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		switch {
		case met || n.Type == html.ElementNode && (n.Data == "head" || n.Data == "script" || n.Data == "style"):
			return
		case n.Type == html.ElementNode && n.Data == "svg":
			met = true
			return
		case slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "hidden" }):
			return
		case n.Type == html.TextNode:
			text.WriteString(n.Data)
		case n.Type == html.ElementNode:
			text.WriteString(" ")
		}
		for c := range n.ChildNodes() {
			walk(c)
		}
	}
	walk(root)
	if !met {
		t.Error("the page has no chart")
	}
	return strings.Join(strings.Fields(text.String()), " ")
}

// scaled are plots with another curve for each device, by the settings.
func scaled(list []plot, by map[string]func(w float64) float64) []plot {
	list = slices.Clone(list)
	for i := range list {
		if f := by[list[i].device]; f != nil {
			whole := list[i].curve
			list[i].curve = func(w float64) float64 { return whole(w) * f(w) }
		}
	}
	return list
}

// crossingPlots are two devices in two workloads on two supplies: elm ahead below about 15
// W, oak above; of the second workload less is better.
func crossingPlots() []plot {
	var list []plot
	for _, workload := range []string{"harbour-flight", "tile-sort"} {
		for _, supply := range []run.Supply{"mains", "battery"} {
			for _, device := range []string{"unit-oak", "unit-elm"} {
				p := plot{device: device, workload: workload, supply: supply, metric: "fps_mean", unit: "fps", cv: 0.005, n: 3, overhead: 5, curve: saturating(100)}
				if device == "unit-elm" {
					p.cap, p.curve = 40, func(w float64) float64 { return saturating(100)(w) * math.Pow(15/w, 0.15) }
				} else {
					p.floor = 7
				}
				if workload == "tile-sort" {
					whole := p.curve
					p.metric, p.unit, p.lower = "duration", "s", true
					p.curve = func(w float64) float64 { return 1000 / whole(w) }
				}
				list = append(list, p)
			}
		}
	}
	return list
}

// TestOpenings reads what the pages of planted campaigns open with: the sentences are those
// that were read, and all text before the first chart is short. testdata/openings has a file
// for each.
func TestOpenings(t *testing.T) {
	for name, runs := range campaigns() {
		t.Run(name, func(t *testing.T) {
			study, err := Ask(runs, Questions{})
			if err != nil {
				t.Fatal(err)
			}
			p := Compose(Input{Study: study, Runs: slices.Clone(runs)})
			page := checkPage(t, p)
			text := opened(t, page)
			if room := sentence.Taken(text); room.Words > openingRoom.Words || room.Numbers > openingRoom.Numbers || len(p.Opening.Sentences) > 3 || len(p.Opening.Charts) > 1 {
				t.Errorf("%d words, %d numbers, %d sentences, %d charts before the first chart ends: %s", room.Words, room.Numbers, len(p.Opening.Sentences), len(p.Opening.Charts), text)
			}
			var said strings.Builder
			for _, s := range p.Opening.Sentences {
				fmt.Fprintln(&said, s.Text)
				if s.Link == "" && !strings.HasPrefix(s.Text, "There is too little") {
					t.Errorf("%q leads nowhere", s.Text)
				}
			}
			file := filepath.Join("testdata", "openings", strings.ReplaceAll(name, " ", "-")+".txt")
			if *update {
				if err := os.WriteFile(file, []byte(said.String()), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if want, err := os.ReadFile(file); err != nil || said.String() != string(want) {
				t.Errorf("the page opens with\n%s\nand not with\n%s%v", said.String(), want, err)
			}
		})
	}
}

var update = flag.Bool("update", false, "rewrite the golden files")

// campaigns are test days of invented devices with known curves, by what is planted in them.
func campaigns() map[string][]run.Run {
	only := func(list []plot, keep func(p plot) bool) []plot {
		return slices.DeleteFunc(slices.Clone(list), func(p plot) bool { return !keep(p) })
	}
	each := func(list []plot, f func(p *plot)) []plot {
		list = slices.Clone(list)
		for i := range list {
			f(&list[i])
		}
		return list
	}
	cross := crossingPlots()
	base := oakAndElm()
	plain := each(base[:2], func(p *plot) { p.floor, p.cap, p.curve = 0, 0, saturating(100) })
	var five []plot
	for i, d := range []string{"unit-ash", "unit-elm", "unit-fir", "unit-oak", "unit-yew"} {
		for _, p := range only(cross, func(p plot) bool { return p.device == "unit-oak" }) {
			p.device = d
			p.floor = 0
			top, whole := 1+0.06*float64(i), p.curve
			lower := p.lower
			p.curve = func(w float64) float64 {
				if lower {
					return whole(w) / top
				}
				return whole(w) * top
			}
			five = append(five, p)
		}
	}
	twice := scaled(plain, map[string]func(float64) float64{"unit-elm": func(w float64) float64 {
		if w > 9 && w < 28 {
			return 0.9
		}
		return 1.1
	}})
	byWorkload := each(cross, func(p *plot) {
		p.floor, p.cap, p.curve = 0, 0, saturating(100)
		if (p.device == "unit-elm") == (p.workload == "tile-sort") {
			p.curve = saturating(108)
		}
		p.lower, p.metric, p.unit = false, "score", ""
	})
	capped := each(only(cross, func(p plot) bool { return p.device == "unit-elm" }), func(p *plot) {
		if p.supply == "battery" {
			p.cap = 25
		}
	})
	named := each(base, func(p *plot) {
		p.names, p.floor, p.cap = []string{"quiet", "balanced", "performance"}, 0, 0
	})
	whole := base[0]
	whole.floor = 0
	fewer := whole
	fewer.variant, fewer.curve = "cores=6", saturating(110*0.88)
	long := each(cross, func(p *plot) {
		p.device = map[string]string{"unit-oak": "the long name of unit 2000 oak with 16 cores", "unit-elm": "the long name of unit 1000 elm with 32 cores"}[p.device]
	})
	none := plant(10, base[3])
	for i := range none {
		none[i].Results = nil
	}
	return map[string][]run.Run{
		"cross": plant(1, cross...), "oak and elm": plant(1, base...), "one device": plant(2, only(cross, func(p plot) bool { return p.device == "unit-elm" })...),
		"one device on mains": plant(3, base[0]), "only battery": plant(4, base[3]), "five": plant(5, five...),
		"nothing decided": plant(6, each(plain, func(p *plot) { p.cv = 0.04 })...),
		"constant":        plant(7, scaled(each(plain, func(p *plot) { p.cv, p.n = 0.025, 3 }), map[string]func(float64) float64{"unit-elm": func(float64) float64 { return 0.965 }})...),
		"level":           plant(8, each(plain, func(p *plot) { p.cv, p.n = 0.003, 5 })...), "twice": plant(9, twice...), "by workload": plant(10, byWorkload...),
		"capped on battery": plant(11, capped...), "names": plant(12, named...), "one run": plant(13, each(base, func(p *plot) { p.n = 1 })...),
		"variants": plant(14, whole, fewer), "long names": plant(15, long...), "no results": none, "single": plant(9, base[0])[:1],
		"slow workload only": plant(16, only(cross, func(p plot) bool { return p.workload == "tile-sort" && p.supply == "mains" })...),
	}
}
