package report

import (
	"slices"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/run"
)

// Marks of single points mean the same in every chart: a hollow marker is a setting that is
// not kept, a ring what is off the trend, a star a run unlike its repeats.
const (
	notKeptWords = "the device does not keep to this setting"
	ringWords    = "off the trend of its curve, by more than noise"
	starWords    = "a single run unlike its repeats"
)

// notKept are the places of the settings that a group does not keep to.
func (b *builder) notKept(g *analysis.CurveGroup, place settings) []float64 {
	var list []float64
	for _, x := range g.Points {
		runs := b.cells[cellAt(g, x.SettingW, x.Setting)]
		r := g.Effective
		outside := len(place.names) == 0 && (r.FromW.Known() && x.SettingW < r.FromW || r.ToW.Known() && x.SettingW > r.ToW)
		if _, disobeys := analysis.DisobeyedPower(runs); outside || disobeys {
			list = append(list, place.at(x.SettingW, x.Setting))
		}
	}
	return list
}

// oddPoints are the points of a group that stand out: rings around departures from the
// trend, and the single runs that are unlike their repeats.
func (b *builder) oddPoints(t *Topic, g *analysis.CurveGroup, place settings, style int) []chart.Series {
	ring, star := chart.Series{Ringed: true, Style: style}, chart.Series{Starred: true, Style: style}
	for _, d := range g.Departures {
		for _, x := range g.Points {
			if x.Is(d.SettingW, d.Setting) {
				ring.Points = append(ring.Points, flat(place.at(x.SettingW, x.Setting), finite(x.Mean)))
			}
		}
	}
	for _, odd := range g.Flagged {
		for _, r := range b.cells[cellAt(g, odd.SettingW, odd.Setting)] {
			if x, ok := r.Results[t.Metric]; ok && r.ID == odd.Run {
				star.Points = append(star.Points, flat(place.at(odd.SettingW, odd.Setting), x.Value))
			}
		}
	}
	return slices.DeleteFunc([]chart.Series{ring, star}, func(s chart.Series) bool { return len(s.Points) == 0 })
}

// markItems explain the marks of single points that occur.
func markItems(panels []chart.Panel) []chart.Item {
	var hollow, ring, star bool
	for _, p := range panels {
		for _, s := range p.Series {
			ring, star = ring || s.Ringed, star || s.Starred
			for _, q := range s.Points {
				hollow = hollow || slices.Contains(s.NotKept, q.X)
			}
		}
	}
	var items []chart.Item
	for _, x := range []struct {
		has  bool
		item chart.Item
	}{{hollow, chart.Item{Symbol: chart.SymbolHollow, Text: notKeptWords}}, {ring, chart.Item{Symbol: chart.SymbolRing, Text: ringWords}}, {star, chart.Item{Symbol: chart.SymbolStar, Text: starWords}}} {
		if x.has {
			items = append(items, x.item)
		}
	}
	return items
}

// sideCurve is the curve of a comparison's side; nil where there is not just one.
func sideCurve(t *Topic, c *analysis.Comparison, side string) *analysis.CurveGroup {
	var found *analysis.CurveGroup
	for i := range t.Curve.Groups {
		g := &t.Curve.Groups[i]
		r := run.Run{Labels: run.Labels{Device: g.Device, Supply: run.Supply(g.Supply), Variant: run.Variant(g.Variant)}}
		if g.Workload != c.Workload || !matches(c.Device, g.Device) || !matches(c.Supply, g.Supply) || !matches(c.Variant, g.Variant) || !sideHas(c, side, &r) {
			continue
		}
		if found != nil {
			return nil
		}
		found = g
	}
	return found
}

// batteryCurve is the curve on battery of a device and workload; nil where there is none.
func (b *builder) batteryCurve(g *analysis.BatteryGroup) *analysis.CurveGroup {
	for i := range b.study.Topics {
		for k := range b.study.Topics[i].Curve.Groups {
			x := &b.study.Topics[i].Curve.Groups[k]
			if x.Supply == "battery" && x.Device == g.Device && x.Workload == g.Workload && x.Variant == g.Variant {
				return x
			}
		}
	}
	return nil
}
