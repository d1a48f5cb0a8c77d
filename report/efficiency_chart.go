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

// efficiencyCharts draw the result for each watt by every kind of watts that is
// known. A lane beneath the curves has each one's plateau; settings that the device
// does not follow, which are no candidates for it, have hollow markers.
func (b *builder) efficiencyCharts(t *Topic, workload, supply string, groups []*analysis.CurveGroup) []chart.Chart {
	groups = slices.DeleteFunc(slices.Clone(groups), func(g *analysis.CurveGroup) bool { return len(g.Efficiencies) == 0 })
	place := placeSettings(curveSettings(groups))
	most := 0.0
	list := inParts(groups, func(part []*analysis.CurveGroup, which string) chart.Chart {
		c, top := b.efficiencyChart(t, workload, supply, part, place)
		most = max(most, top)
		c.Title += which
		c.Alt = c.Title + ". " + c.Lines[0] + "." + c.Alt
		return c
	})
	zero, top := 0.0, most*1.06
	for _, c := range list {
		for i := range c.Panels {
			c.Panels[i].Y.From, c.Panels[i].Y.To = &zero, &top
		}
	}
	return list
}

// efficiencyChart gives the largest value that is drawn, too.
func (b *builder) efficiencyChart(t *Topic, workload, supply string, groups []*analysis.CurveGroup, place settings) (c chart.Chart, most float64) {
	unit, factor := efficiencyUnit(t)
	c = chart.Chart{
		Title:  b.efficiencyTitle(groups),
		Lines:  []string{fmt.Sprintf("%s %s: %s, %s, against the setting; more is better", workload, onSupply(supply), sentence.MetricName(t.Metric), unit)},
		Beside: true,
	}
	for _, d := range denominators {
		p := chart.Panel{Title: d.title, X: place.axis()}
		for _, g := range groups {
			if s, lane, ok := b.efficiencySeries(g, d.by, place, factor); ok {
				p.Series, p.Lanes = append(p.Series, s), append(p.Lanes, lane...)
				for _, q := range s.Points {
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
	c.Name = b.unique(fileName("efficiency", workload, supply, t.Metric))
	var sources []analysis.NoiseSource
	for _, g := range groups {
		for _, e := range g.Efficiencies {
			sources = append(sources, e.NoiseSource)
		}
	}
	c.Key = intervalItems(meanText(countRuns(groups)), t.Curve.Confidence, c.Panels, sources...)
	if slices.ContainsFunc(c.Panels, func(p chart.Panel) bool { return len(p.Lanes) > 0 }) {
		c.Key = append(c.Key, chart.Item{Symbol: chart.SymbolLane, Text: "the best, and where it is as good or less than 5 % worse"})
	}
	c.Key = append(c.Key, markItems(c.Panels)...)
	c.Footer = b.footer(source{runs: ofGroups(workload, supply, keysOf(groups)), points: countRuns(groups), confidence: t.Curve.Confidence})
	for _, g := range groups {
		if words := wordsOf(sentence.Efficient(g)); words != "" && len(g.Points) > 1 {
			c.Alt += " " + b.legend.name(g.Device, g.Variant) + ": " + words
		} else {
			c.Alt += " " + b.legend.name(g.Device, g.Variant) + ": too few settings to tell the best."
		}
	}
	return c, most
}

func (b *builder) efficiencySeries(g *analysis.CurveGroup, by string, place settings, factor analysis.Number) (s chart.Series, lane []chart.Lane, ok bool) {
	i := slices.IndexFunc(g.Efficiencies, func(e analysis.Efficiency) bool { return e.By == by })
	if i < 0 {
		return s, nil, false
	}
	e := &g.Efficiencies[i]
	s = b.legend.curve(g.Device, g.Variant)
	for _, x := range e.Points {
		s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), factor*x.Value, factor*x.Lower, factor*x.Upper))
	}
	if len(s.Points) > 1 && (e.Peak != "" || e.PeakW.Known()) { // one setting is the best of nothing
		lane = []chart.Lane{{Reach: chart.Reach{From: place.at(e.FromW, e.From), To: place.at(e.ToW, e.To)}, Style: s.Style, At: place.at(e.PeakW, e.Peak)}}
	}
	s.NotKept = b.notKept(g, place)
	return s, lane, true
}

// efficiencyTitle says where devices give most per watt.
func (b *builder) efficiencyTitle(groups []*analysis.CurveGroup) string {
	var kinds, parts []string
	for _, g := range groups {
		e, settings := sentence.MostPerWatt(g)
		if settings == "" {
			continue
		}
		kind := sentence.Denominator[e.By]
		if !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
		parts = append(parts, b.legend.name(g.Device, g.Variant)+" "+settings)
	}
	switch {
	case len(parts) == 0:
		return "Too few settings to tell where most per watt is"
	case len(kinds) > 1:
		kinds = []string{"watt"}
	}
	return "Most per " + kinds[0] + ": " + sentence.Listed(parts, mostPlaces)
}

// efficiencyUnit names the unit of the result per watt, and the factor that gives
// it readable numbers.
func efficiencyUnit(t *Topic) (string, analysis.Number) {
	unit := unitOr(t)
	most := 0.0
	for i := range t.Curve.Groups {
		for _, e := range t.Curve.Groups[i].Efficiencies {
			for _, x := range e.Points {
				if x.Value.Known() {
					most = max(most, float64(x.Value))
				}
			}
		}
	}
	if t.Curve.Better != "lower" {
		if power := prefix(most); power != 0 {
			return "10" + chart.Exponent(power) + " " + unit + " for each watt", analysis.Number(math.Pow10(-power))
		}
		return unit + " for each watt", 1
	}
	power := prefix(1000 * most)
	if t.Curve.Unit == "s" { // 1/(s W) is 1/J
		if power != 0 {
			return "10" + chart.Exponent(power) + " runs for each kJ", analysis.Number(math.Pow10(3 - power))
		}
		return "runs for each kJ", 1000
	}
	if power != 0 {
		return "10" + chart.Exponent(3-power) + "/(" + unit + " × W)", analysis.Number(math.Pow10(3 - power))
	}
	return "1000/(" + unit + " × W)", 1000
}

// prefix is the power of ten, a multiple of 3, in which numbers of this size are
// readable; 0 where they are as they stand.
func prefix(most float64) int {
	const long, short = 1e5, 1e-2
	if !(most > 0) || math.IsInf(most, 0) || most >= short && most < long {
		return 0
	}
	return 3 * int(math.Floor(math.Log10(most)/3))
}
