package report

import (
	"fmt"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// resultCharts draw the result against the setting, a curve for each group of one
// workload on one supply, at most mostCurves in a picture.
func (b *builder) resultCharts(t *Topic, workload, supply string, groups []*analysis.CurveGroup) []chart.Chart {
	place := placeSettings(curveSettings(groups))
	return shareAxes(inParts(groups, func(part []*analysis.CurveGroup, which string) chart.Chart {
		panels := []chart.Panel{b.resultPanel(t, part, place)}
		c := chart.Chart{
			Name: b.unique(fileName("result", workload, supply, t.Metric)), Title: b.curvesTitle(t, workload, supply, part) + which,
			Lines:  []string{curveLine(t, workload, supply)},
			Panels: panels,
			Key:    intervalItems(meanText(countRuns(part)), t.Curve.Confidence, panels, noiseOf(part)...),
		}
		c.Key = append(c.Key, markItems(panels)...)
		if x := b.onlyComparison(t, workload, supply, part); x != nil {
			b.addStrip(&c, x)
		}
		c.Footer = b.footer(source{runs: ofGroups(workload, supply, keysOf(part)), points: countRuns(part), confidence: t.Curve.Confidence})
		c.Alt = b.altOfCurves(&c, t, part)
		return c
	}))
}

// meanText is what an interval is of: nothing is a mean where nothing was repeated.
func meanText(n []int) string {
	if runsText(n) == "1 run" {
		return ""
	}
	return ofTheMean
}

// noiseOf is what the noise of groups was told from.
func noiseOf(groups []*analysis.CurveGroup) []analysis.NoiseSource {
	var list []analysis.NoiseSource
	for _, g := range groups {
		for _, p := range g.Points {
			if p.Lower.Known() && p.Upper.Known() {
				list = append(list, p.NoiseSource)
			}
		}
	}
	return list
}

func keysOf(groups []*analysis.CurveGroup) [][2]string {
	var keys [][2]string
	for _, g := range groups {
		keys = append(keys, [2]string{g.Device, g.Variant})
	}
	return keys
}

func (b *builder) resultPanel(t *Topic, groups []*analysis.CurveGroup, place settings) chart.Panel {
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: sentence.MetricName(t.Metric), Unit: t.Curve.Unit}}
	for _, g := range groups {
		s := b.legend.curve(g.Device, g.Variant)
		for _, x := range g.Points {
			s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), x.Mean, x.Lower, x.Upper))
		}
		s.NotKept = b.notKept(g, place)
		p.Series = append(p.Series, s)
	}
	for _, g := range groups {
		p.Series = append(p.Series, b.oddPoints(t, g, place, b.legend.style(g.Device, g.Variant))...)
	}
	return p
}

// unitOr is the unit of a topic, or its name.
func unitOr(t *Topic) string {
	if t.Curve.Unit != "" {
		return t.Curve.Unit
	}
	return t.Metric
}

func curveSettings(groups []*analysis.CurveGroup) []setting {
	var list []setting
	for _, g := range groups {
		for _, p := range g.Points {
			list = append(list, setting{p.SettingW, p.Setting})
		}
	}
	return list
}

func countRuns(groups []*analysis.CurveGroup) []int {
	var n []int
	for _, g := range groups {
		for _, p := range g.Points {
			n = append(n, p.N)
		}
	}
	return n
}

// onlyComparison is the comparison between the two groups of a chart, if it
// shows two and they were compared.
func (b *builder) onlyComparison(t *Topic, workload, supply string, groups []*analysis.CurveGroup) *analysis.Comparison {
	if t.Device == nil || len(groups) != 2 || groups[0].Variant != groups[1].Variant {
		return nil
	}
	for i := range t.Device.Comparisons {
		c := &t.Device.Comparisons[i]
		if c.Workload != workload || sentence.OrEmpty(c.Supply) != supply || sentence.OrEmpty(c.Variant) != groups[0].Variant {
			continue
		}
		if c.A == groups[0].Device && c.B == groups[1].Device || c.A == groups[1].Device && c.B == groups[0].Device {
			return c
		}
	}
	return nil
}

// addStrip marks the bands of a comparison under the curves and the places where
// the lead changes.
func (b *builder) addStrip(c *chart.Chart, x *analysis.Comparison) {
	if len(x.Bands) == 0 {
		return
	}
	x = b.study.claimable(x)
	p := &c.Panels[0]
	place := placeSettings(compareSettings(x))
	if len(p.X.Names) > 0 {
		place = settings{names: p.X.Names}
	}
	styleA, styleB := b.legend.sideStyles(x)
	p.Strip = strip(x, place, styleA, styleB)
	c.Key = append(c.Key, stripItems(x, styleA, styleB)...)
	c.Key = append(c.Key, addCrossings(p, x)...)
}

// addCrossings marks where the lead changes, with the interval of each place, and
// returns what the key says of them.
func addCrossings(p *chart.Panel, x *analysis.Comparison) []chart.Item {
	list := x.Kept().Crossings // of the settings that both keep to
	for _, k := range list {
		at := float64(k.AtW)
		p.Guides = append(p.Guides, chart.Guide{X: &at, Text: sentence.Crossing(k)})
		if k.LowerW.Known() && k.UpperW.Known() {
			p.Spans = append(p.Spans, chart.Span{Reach: chart.Reach{From: float64(k.LowerW), To: float64(k.UpperW)}})
		}
	}
	if len(list) == 0 {
		return nil
	}
	return []chart.Item{{Symbol: chart.SymbolCrossing, Text: fmt.Sprintf("the lead changes, %.0f %% interval", 100*x.Confidence)}}
}

func compareSettings(c *analysis.Comparison) []setting {
	var list []setting
	for _, s := range c.Settings {
		list = append(list, setting{s.SettingW, s.Setting})
	}
	return list
}

// strip turns bands into cells.
func strip(c *analysis.Comparison, place settings, styleA, styleB int) []chart.Cell {
	var cells []chart.Cell
	for _, s := range stretchesOf(c, place) {
		cell := chart.Cell{Reach: s.Reach}
		switch {
		case !s.kept:
			cell.Verdict = chart.NotKept
		case s.verdict == analysis.VerdictA:
			cell.Verdict, cell.Style = chart.Ahead, styleA
		case s.verdict == analysis.VerdictB:
			cell.Verdict, cell.Style = chart.Ahead, styleB
		case s.verdict == analysis.VerdictTie:
			cell.Verdict = chart.Level
		default:
			cell.Verdict = chart.Unclear
		}
		cells = append(cells, cell)
	}
	return cells
}

// stripItems explain the cells that occur.
func stripItems(c *analysis.Comparison, styleA, styleB int) []chart.Item {
	has := map[analysis.Verdict]bool{}
	for _, s := range c.Settings {
		if s.Shared() {
			has[s.Verdict] = has[s.Verdict] || s.Counts()
		}
	}
	var items []chart.Item
	add := func(v analysis.Verdict, it chart.Item) {
		if has[v] {
			items = append(items, it)
		}
	}
	add(analysis.VerdictA, chart.Item{Symbol: chart.SymbolAhead, Style: styleA, Text: sentence.Side(c.A) + " ahead"})
	add(analysis.VerdictB, chart.Item{Symbol: chart.SymbolAhead, Style: styleB, Text: sentence.Side(c.B) + " ahead"})
	add(analysis.VerdictTie, chart.Item{Symbol: chart.SymbolLevel, Text: "level within " + sentence.Margin(c.Margin) + " %"})
	add(analysis.VerdictUnclear, chart.Item{Symbol: chart.SymbolUnclear, Text: "cannot be told"})
	if c.Kept().Part {
		items = append(items, chart.Item{Symbol: chart.SymbolHatch, Text: "a side does not keep to the setting: not compared"})
	}
	return items
}

// altOfCurves says what a chart of curves shows: the verdict, and what was found of each.
func (b *builder) altOfCurves(c *chart.Chart, t *Topic, groups []*analysis.CurveGroup) string {
	text := c.Title + ". " + c.Lines[0] + "."
	for _, g := range groups {
		if words := b.curveTitle(t, g); !strings.Contains(text, words) {
			text += " " + words + "."
		}
	}
	return text
}
