package report

import (
	"fmt"
	"math"
	"slices"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// denominators in the order of the panels.
var denominators = []struct{ by, title string }{
	{analysis.ByPackage, "per package watt"}, {analysis.BySystem, "per watt of the whole device"}, {analysis.BySetting, "per set watt"},
}

// efficiencyChart draws the result for each watt by every kind of watts that is
// known. A lane beneath the curves has each one's plateau; settings that the device
// does not follow, which are no candidates for it, have hollow markers.
func (b *builder) efficiencyChart(t *Topic, workload, supply string, groups []*analysis.CurveGroup) (chart.Chart, bool) {
	groups = groups[:min(len(groups), mostCurves)]
	unit, factor := efficiencyUnit(t, groups)
	c := chart.Chart{
		Name:  b.unique(fileName("efficiency", workload, supply, t.Metric)),
		Title: fmt.Sprintf("%s %s: result for each watt", workload, onSupply(supply)),
		Lines: []string{fmt.Sprintf("%s; more is better; each point is the mean of %s", unit, runsText(countRuns(groups)))},
		Key: []chart.Item{intervalItem(t.Curve.Confidence),
			{Symbol: chart.SymbolLane, Text: "the best, and where it is as good or less than 5 % worse"}},
		Beside: true,
	}
	most, hollow := 0.0, false
	for _, d := range denominators {
		p := chart.Panel{Title: d.title, X: placeSettings(curveSettings(groups)...).axis()}
		for _, g := range groups {
			if s, lane, ok := b.efficiencySeries(g, d.by, groups, factor); ok {
				p.Series, p.Lanes = append(p.Series, s), append(p.Lanes, lane...)
				for _, q := range s.Points {
					hollow = hollow || s.Within != nil && (q.X < s.Within.From || q.X > s.Within.To)
					most = max(most, q.Y)
					if !math.IsNaN(q.Upper) {
						most = max(most, min(q.Upper, 1.5*q.Y))
					}
				}
			}
		}
		if len(p.Series) > 0 {
			c.Panels = append(c.Panels, p)
		}
	}
	if len(c.Panels) == 0 {
		return c, false
	}
	if hollow {
		c.Key = append(c.Key, chart.Item{Symbol: chart.SymbolHollow, Text: "the device does not follow this setting: no candidate for the best"})
	}
	c.Alt = c.Title + ", " + unit + "."
	for _, g := range groups {
		c.Alt += " " + b.cast.name(g.Device, g.Variant) + ": " + wordsOf(sentence.Efficient(g))
	}
	zero := 0.0
	top := most * 1.06
	for i := range c.Panels {
		c.Panels[i].Y.From, c.Panels[i].Y.To = &zero, &top
	}
	return c, true
}

func (b *builder) efficiencySeries(g *analysis.CurveGroup, by string, groups []*analysis.CurveGroup, factor analysis.Number) (s chart.Series, lane []chart.Lane, ok bool) {
	i := slices.IndexFunc(g.Efficiencies, func(e analysis.Efficiency) bool { return e.By == by })
	if i < 0 {
		return s, nil, false
	}
	e := &g.Efficiencies[i]
	place := placeSettings(curveSettings(groups)...)
	s = chart.Series{Name: b.cast.name(g.Device, g.Variant), Look: b.cast.look(g.Device, g.Variant), Joined: true}
	for _, x := range e.Points {
		s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), factor*x.Value, factor*x.Lower, factor*x.Upper))
	}
	if e.Peak != "" || e.PeakW.Known() {
		lane = []chart.Lane{{Reach: chart.Reach{From: place.at(e.FromW, e.From), To: place.at(e.ToW, e.To)}, Look: s.Look, At: place.at(e.PeakW, e.Peak)}}
	}
	if r := g.Effective; len(place.names) == 0 && r.FromW.Known() && r.ToW.Known() {
		s.Within = &chart.Reach{From: float64(r.FromW), To: float64(r.ToW)}
	}
	return s, lane, true
}

// efficiencyUnit names the unit of the result per watt, and the factor that gives
// it readable numbers.
func efficiencyUnit(t *Topic, groups []*analysis.CurveGroup) (string, analysis.Number) {
	unit := unitOr(t)
	if t.Curve.Better != "lower" {
		return unit + " for each watt", 1
	}
	if t.Curve.Unit == "s" { // 1/(s W) is 1/J
		return "runs for each kJ", 1000
	}
	return "1000/(" + unit + " × W)", 1000
}
