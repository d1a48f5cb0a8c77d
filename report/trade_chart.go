package report

import (
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// tradeCharts draw runtime against result, the trade-off on battery: each point is a setting,
// which stands beside it.
func (b *builder) tradeCharts(t *Topic, workload string) []chart.Chart {
	var groups []*analysis.CurveGroup
	for supply, list := range bySupply(t, workload) {
		if supply == "battery" {
			groups = slices.DeleteFunc(list, func(g *analysis.CurveGroup) bool { return len(b.trade(g).Points) == 0 })
		}
	}
	return shareAxes(inParts(groups, func(part []*analysis.CurveGroup, which string) chart.Chart {
		return b.tradeChart(t, workload, part, which)
	}))
}

// trade is the curve of a device on battery: its runtime over its result.
func (b *builder) trade(g *analysis.CurveGroup) chart.Series {
	s := chart.Series{Name: b.legend.name(g.Device, g.Variant), Style: b.legend.style(g.Device, g.Variant), Joined: true}
	battery := b.batteryGroup(g)
	if battery == nil {
		return s
	}
	for _, x := range g.Points {
		for _, y := range battery.Points {
			if x.Is(y.SettingW, y.Setting) && y.RuntimeH.Known() && x.Mean.Known() {
				s.Points = append(s.Points, interval(float64(x.Mean), y.RuntimeH, y.RuntimeLowerH, y.RuntimeUpperH))
				s.Across = append(s.Across, chart.Reach{From: finite(x.Lower), To: finite(x.Upper)})
				s.Words = append(s.Words, sentence.Setting(x.SettingW, x.Setting))
			}
		}
	}
	return s
}

func (b *builder) tradeChart(t *Topic, workload string, groups []*analysis.CurveGroup, which string) chart.Chart {
	p := chart.Panel{X: chart.Axis{Label: sentence.MetricName(t.Metric), Unit: t.Curve.Unit}, Y: chart.Axis{Label: "runtime of a full battery, h", From: new(float64)}}
	c := chart.Chart{
		Name:  b.unique(fileName("trade-off", workload, t.Metric)),
		Lines: []string{workload + " on battery: runtime against " + sentence.MetricName(t.Metric) + "; the settings stand beside the points"},
	}
	var sources []analysis.NoiseSource
	for _, g := range groups {
		s := b.trade(g)
		p.Series = append(p.Series, s)
		sources = append(sources, g.NoiseSource, b.batteryGroup(g).NoiseSource)
		c.Alt += " " + tradeEnds(s, t, true) + "."
	}
	// The axis need not begin at zero: neither length is compared by eye.
	if r := p.ReachX(); r.From < r.To {
		from := max(0, r.From-0.08*(r.To-r.From))
		p.X.From = &from
	}
	c.Panels = []chart.Panel{p}
	var ends []string
	for _, s := range p.Series {
		ends = append(ends, tradeEnds(s, t, false))
	}
	if len(ends) > 2 {
		ends = []string{"What a longer runtime costs"}
	}
	c.Title = strings.Join(ends, "; ") + which
	c.Alt = c.Title + "." + c.Alt
	c.Key = intervalItems(meanText(countRuns(groups)), t.Curve.Confidence, c.Panels, sources...)
	c.Footer = b.footer(source{runs: ofGroups(workload, "battery", keysOf(groups)), points: countRuns(groups), confidence: t.Curve.Confidence})
	return c
}

// tradeEnds says what the first and the last setting of a curve give; whole with the settings.
func tradeEnds(s chart.Series, t *Topic, whole bool) string {
	end := func(i int) string {
		text := sentence.Clock(analysis.Number(s.Points[i].Y)) + " at " + sentence.Significant(s.Points[i].X) + " " + unitOr(t)
		if whole {
			text += " (" + s.Words[i] + ")"
		}
		return text
	}
	text := s.Name + ": " + end(0)
	if n := len(s.Points); n > 1 {
		text += ", " + end(n-1)
	}
	return text
}
