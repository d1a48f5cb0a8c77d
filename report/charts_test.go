package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/run"
)

// chartsOf composes a page and gives its charts by name.
func chartsOf(t *testing.T, runs []run.Run) map[string]chart.Chart {
	t.Helper()
	study, err := Ask(runs, Questions{})
	if err != nil {
		t.Fatal(err)
	}
	p := Compose(Input{Study: study, Runs: slices.Clone(runs)})
	checkPage(t, p)
	out := map[string]chart.Chart{}
	for _, c := range p.Charts() {
		out[c.Name] = c
	}
	return out
}

func mustHave(t *testing.T, charts map[string]chart.Chart, name string) chart.Chart {
	t.Helper()
	c, ok := charts[name]
	if !ok {
		var names []string
		for n := range charts {
			names = append(names, n)
		}
		slices.Sort(names)
		t.Fatalf("no chart %q among %q", name, names)
	}
	return c
}

func keyText(c chart.Chart) string {
	var parts []string
	for _, k := range c.Key {
		parts = append(parts, k.Text)
	}
	return strings.Join(parts, "|")
}

func TestEvenly(t *testing.T) {
	for n, want := range map[int]string{0: "[]", 1: "[1]", 6: "[6]", 7: "[4 3]", 12: "[6 6]", 13: "[5 4 4]"} {
		sizes, sum := []int{}, 0
		for _, part := range evenly(make([]int, n)) {
			sizes, sum = append(sizes, len(part)), sum+len(part)
		}
		if got := fmt.Sprint(sizes); got != want || sum != n {
			t.Errorf("%d: %s, want %s", n, got, want)
		}
	}
}

// Seven devices make two charts of each kind, on one y axis, and no style stands for
// two devices in one of them.
func TestMoreCurvesThanStyles(t *testing.T) {
	var plots []plot
	for i := range 7 {
		plots = append(plots, plot{device: fmt.Sprintf("unit-%c", 'a'+i), workload: "tile-sort", metric: "score", supply: "battery", cv: 0.01, n: 2,
			curve: saturating(100 * float64(1+i)), overhead: 5})
	}
	charts := chartsOf(t, plant(3, plots...))
	for _, name := range []string{"result-tile-sort-battery-score", "efficiency-tile-sort-battery-score", "package-power-tile-sort-battery", "battery-tile-sort"} {
		one, two := mustHave(t, charts, name), mustHave(t, charts, name+"-2")
		if !strings.HasSuffix(one.Title, "(1 of 2)") || !strings.HasSuffix(two.Title, "(2 of 2)") {
			t.Errorf("titles %q and %q", one.Title, two.Title)
		}
		for k := range one.Panels {
			a, b := one.Panels[k], two.Panels[k]
			if len(a.Series) != 4 || len(b.Series) != 3 {
				t.Errorf("%s: %d and %d curves", name, len(a.Series), len(b.Series))
			}
			if sameEnds := a.Y.To != nil && *a.Y.To == *b.Y.To; !sameEnds && (len(a.Y.Also) == 0 || !slices.Equal(a.Y.Also, b.Y.Also)) {
				t.Errorf("%s: other axes: %+v and %+v", name, a.Y, b.Y)
			}
			for _, p := range []chart.Panel{a, b} {
				seen := map[int]bool{}
				for _, s := range p.Series {
					if seen[s.Style] {
						t.Errorf("%s: a style twice", name)
					}
					seen[s.Style] = true
				}
			}
		}
	}
	day := mustHave(t, charts, "day-tile-sort-score")
	if len(day.Panels) != 4 {
		t.Errorf("%d rows", len(day.Panels))
	}
}

// No two groups of a report have one style, however many there are, and a device that has
// a style in all reports has it in each.
func TestStylesDoNotRepeat(t *testing.T) {
	var runs []run.Run
	for i := range 9 {
		runs = append(runs, run.Run{Labels: run.Labels{Device: fmt.Sprint("unit-", i)}})
	}
	runs = append(runs, run.Run{Labels: run.Labels{Device: "unit-4", Variant: "cores=4"}})
	for _, styles := range []map[string]int{nil, {"unit-4": 1, "unit-0": 4, "unit-elsewhere": 2}} {
		l := newLegend(&Study{runs: runs}, styles)
		seen := map[int]bool{}
		for _, k := range l.keys {
			style := l.style(k[0], k[1])
			if want, fixed := styles[k[0]]; fixed && k[1] == "" && style != want-1 {
				t.Errorf("%v is style %d, want %d", k, style, want-1)
			}
			if seen[style] || style == styles["unit-elsewhere"]-1 && styles != nil {
				t.Errorf("%v: style %d is another's", k, style)
			}
			seen[style] = true
		}
	}
}

// A variant looks the same in the chart of all and in the chart of a pair, and mains
// and battery look like no group.
func TestStylesKeepTheirMeaning(t *testing.T) {
	var plots []plot
	for i, v := range []string{"cores=4", "cores=6", "cores=8"} {
		for _, supply := range []string{"mains", "battery"} {
			plots = append(plots, plot{device: "unit-oak", workload: "tile-sort", metric: "score", supply: run.Supply(supply), variant: run.Variant(v), cv: 0.01, n: 2,
				curve: saturating(100 * float64(2+i)), overhead: 5})
		}
	}
	charts := chartsOf(t, plant(4, plots...))
	all := map[string]int{}
	for _, s := range mustHave(t, charts, "result-tile-sort-mains-score").Panels[0].Series {
		all[s.Name] = s.Style
	}
	for _, s := range mustHave(t, charts, "pair-tile-sort-cores-4-cores-8-unit-oak-on-mains-score").Panels[0].Series {
		if style, ok := all[s.Name]; !ok || style != s.Style {
			t.Errorf("%s is style %d, and %d among all (%v)", s.Name, s.Style, style, all)
		}
	}
	for _, s := range mustHave(t, charts, "pair-tile-sort-battery-mains-unit-oak-cores-6-score").Panels[0].Series {
		for name, style := range all {
			if style == s.Style {
				t.Errorf("%s looks like %s", s.Name, name)
			}
		}
	}
}

// Single runs are no means, and what their intervals come from is said; without an
// interval there is none in the key.
func TestSingleRuns(t *testing.T) {
	plots := oakAndElm()
	for i := range plots {
		plots[i].n = 1
	}
	charts := chartsOf(t, plant(5, plots...))
	c := mustHave(t, charts, "result-harbour-flight-mains-fps-mean")
	if !strings.Contains(c.Footer[0], " · 1 run a point · ") {
		t.Errorf("%q", c.Footer)
	}
	if got := keyText(c); !strings.Contains(got, "95 % interval, judged from how smooth the curve is") {
		t.Errorf("key %q", got)
	}

	charts = chartsOf(t, plant(5, plots[0])[:1])
	for _, name := range []string{"result-harbour-flight-mains-fps-mean", "efficiency-harbour-flight-mains-fps-mean", "package-power-harbour-flight-mains"} {
		c := mustHave(t, charts, name)
		if strings.Contains(keyText(c), "interval") || strings.Contains(keyText(c), "lowest run") {
			t.Errorf("%s: key %q", name, keyText(c))
		}
		if at := c.Panels[0].X.At; len(at) != 1 || at[0] != plantedSettings[0] {
			t.Errorf("%s: ticks at %v", name, at)
		}
	}
}

// A chart of power alone does not speak of runtime, and says in words what it shows.
func TestBatteryChartSaysWhatItShows(t *testing.T) {
	runs := plant(6, oakAndElm()...)
	with := mustHave(t, chartsOf(t, runs), "battery-harbour-flight")
	if len(with.Panels) != 2 || !strings.Contains(with.Lines[0], ", and runtime from the battery's stated energy, from full to empty") || !strings.Contains(with.Alt, "A full battery lasts") {
		t.Errorf("%d panels, %q, %q", len(with.Panels), with.Lines, with.Alt)
	}
	for i := range runs {
		runs[i].Facts = nil
	}
	without := mustHave(t, chartsOf(t, runs), "battery-harbour-flight")
	for _, text := range append(without.Lines, without.Title, without.Alt) {
		if strings.Contains(text, "runtime") || strings.Contains(text, "full") {
			t.Errorf("%q", text)
		}
	}
	if len(without.Panels) != 1 || !strings.HasPrefix(without.Title, "Draw of the whole device at the most efficient setting: unit-elm ") || !strings.Contains(without.Title, "; for the best result: ") {
		t.Errorf("%d panels, %q", len(without.Panels), without.Alt)
	}
}

// The words of the chart of package power are about package power.
func TestPowerChartSaysWhatItShows(t *testing.T) {
	runs := plant(7, oakAndElm()...)
	c := mustHave(t, chartsOf(t, runs), "package-power-harbour-flight-mains")
	if !strings.Contains(c.Title, "unit-oak follows 12 to 54 W only") || !strings.Contains(c.Alt, "set lower, it acts as if set to 11") {
		t.Errorf("%q", c.Alt)
	}
	few := slices.DeleteFunc(runs, func(r run.Run) bool { w, _ := r.Setting.Watts(); return w > 6 })
	c = mustHave(t, chartsOf(t, few), "package-power-harbour-flight-mains")
	if strings.Contains(c.Alt, "per package") || !strings.Contains(c.Title, "unit-oak: too little measured to tell") {
		t.Errorf("%q", c.Alt)
	}
}

// Verdicts end just past the outermost settings.
func TestStretchesEndAtTheSettings(t *testing.T) {
	s := settings{watts: []float64{5, 15, 35, 105}}
	for x, want := range map[float64]chart.Reach{5: {From: 3, To: 10}, 15: {From: 10, To: 25}, 105: {From: 70, To: 107}} {
		if got := s.reach(x); got != want {
			t.Errorf("%v: %+v, want %+v", x, got, want)
		}
	}
	if got := (settings{watts: []float64{15}}).reach(15); got.From < 14.5 || got.To > 15.5 || got.From >= got.To {
		t.Errorf("one setting: %+v", got)
	}
	if a := s.axis(); *a.From > 3 || *a.To < 107 {
		t.Errorf("the axis from %v to %v cuts them", *a.From, *a.To)
	}
}

// Each new day has its line and date, the first row alone writes it.
func TestNewDaysAreMarked(t *testing.T) {
	runs := plant(8, oakAndElm()[:2]...)
	for i := range runs {
		runs[i].StartedAt = run.Stamp(runs[i].StartedAt.Add(time.Duration(i*3/len(runs)) * 48 * time.Hour))
	}
	c := mustHave(t, chartsOf(t, runs), "day-harbour-flight-fps-mean")
	for k, p := range c.Panels {
		var days []string
		for _, g := range p.Guides {
			if g.X != nil {
				days = append(days, fmt.Sprint(*g.X, " ", g.Text))
			}
		}
		want := []string{"28.5 6 May", "56.5 8 May"}
		if k > 0 {
			want = []string{"28.5 ", "56.5 "}
		}
		if !slices.Equal(days, want) {
			t.Errorf("row %d: %q, want %q", k, days, want)
		}
	}
}

// Many rows leave no room for numbers: the label says how far each reaches.
func TestRowsSayTheirReach(t *testing.T) {
	charts := chartsOf(t, plant(9, oakAndElm()...))
	if got := mustHave(t, charts, "day-harbour-flight-fps-mean").Panels[0].Y.Label; strings.Contains(got, "each row") {
		t.Errorf("four rows: %q", got)
	}
	plots := oakAndElm()
	for _, p := range oakAndElm()[:2] {
		p.device = "third " + p.device
		plots = append(plots, p)
	}
	c := mustHave(t, chartsOf(t, plant(9, plots...)), "day-harbour-flight-fps-mean")
	label, to := c.Panels[0].Y.Label, *c.Panels[0].Y.To
	var low, high float64
	if n, err := fmt.Sscanf(strings.ReplaceAll(label, "−", "-"), "run against the mean of its repeats, %%; each row from %g to +%g", &low, &high); n != 2 {
		t.Fatalf("%d rows, %q: %v", len(c.Panels), label, err)
	}
	if low != -high || math.Abs(high-to) > 0.05*to {
		t.Errorf("%q for an axis to %v", label, to)
	}
}

func TestFramesAreCountedByName(t *testing.T) {
	b := &builder{names: map[string]bool{}}
	list := b.framesCharts([]Frames{{"unit-oak", framesOf(200)}, {"empty", gathered()}, {"unit-elm", framesOf(100)}})
	if len(list) != 1 || list[0].Lines[0] != "Frame times, ms: the share of frames that took at least so long. unit-oak: 200 frames, unit-elm: 100 frames; no interval: every frame is counted" {
		t.Errorf("%+v", list)
	}
}

// Numbers for each watt are readable, and their unit says by which power of ten.
func TestEfficiencyUnit(t *testing.T) {
	for _, c := range []struct {
		value        float64
		better, unit string
		want         string
		factor       float64
	}{
		{3, "higher", "fps", "fps for each watt", 1},
		{3e12, "higher", "H", "10¹² H for each watt", 1e-12},
		{0.0004, "lower", "s", "runs for each kJ", 1000},
		{4e-9, "lower", "s", "10⁻⁶ runs for each kJ", 1e9},
		{4e-14, "lower", "cycles", "10¹⁵/(cycles × W)", 1e15},
	} {
		topic := &Topic{Metric: "m", Curve: analysis.CurveResult{Unit: c.unit, Better: c.better, Groups: []analysis.CurveGroup{{Efficiencies: []analysis.Efficiency{{Points: []analysis.EfficiencyPoint{{Value: analysis.Number(c.value)}}}}}}}}
		unit, factor := efficiencyUnit(topic)
		if unit != c.want || math.Abs(float64(factor)/c.factor-1) > 1e-9 {
			t.Errorf("%g: %q by %g, want %q by %g", c.value, unit, float64(factor), c.want, c.factor)
		}
	}
}
