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
	s := b.legend.curve(g.Device, g.Variant)
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
		c.Alt += " " + tradeWords(s, t, g) + "."
	}
	// The axis need not begin at zero: neither length is compared by eye.
	if r := p.ReachX(); r.From < r.To {
		from := max(0, r.From-0.08*(r.To-r.From))
		p.X.From = &from
	}
	c.Panels = []chart.Panel{p}
	var ends []string
	for i, s := range p.Series {
		ends = append(ends, tradeWords(s, t, groups[i]))
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

// tradeWords say what a device gives at the settings that the page advises.
func tradeWords(s chart.Series, t *Topic, g *analysis.CurveGroup) string {
	var parts []string
	for _, set := range advisedSettings(g) {
		if i := slices.Index(s.Words, set); i >= 0 {
			parts = append(parts, sentence.Clock(analysis.Number(s.Points[i].Y))+" at "+sentence.Significant(s.Points[i].X)+" "+unitOr(t)+" ("+set+")")
		}
	}
	if len(parts) == 0 {
		return s.Name + ": " + sentence.Clock(analysis.Number(s.Points[0].Y)) + " at " + s.Words[0]
	}
	return s.Name + ": " + strings.Join(parts, ", ")
}

// advisedSettings are the most efficient setting and that of the best result, in words; one
// where they are the same.
func advisedSettings(g *analysis.CurveGroup) []string {
	var list []string
	if e, settings := sentence.MostPerWatt(g); settings != "" {
		list = append(list, sentence.Setting(e.PeakW, e.Peak))
	}
	best := sentence.Setting(g.Best.AtW, g.Best.At)
	if limit := g.Effective.ToW; limit.Known() && g.Best.AtW > limit { // beyond what it keeps to, nothing changes
		for _, x := range g.Points {
			if x.SettingW.Known() && x.SettingW <= limit {
				best = sentence.Setting(x.SettingW, x.Setting)
			}
		}
	}
	if best != "" && !slices.Contains(list, best) {
		list = append(list, best)
	}
	return list
}
