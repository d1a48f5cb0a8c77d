package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// What sensors measured besides watts, over the settings: the mean of the runs, from the
// lowest to the highest of them. A sensor that is missing draws nothing.

// sensed picks a quantity of what was measured of a run.
type sensed func(m Measured) float64

func temperature(m Measured) float64 { return m.Temperature }
func clockRate(m Measured) float64   { return m.Clock }
func fanSpeed(m Measured) float64    { return m.Fan }

// measuredCell is the runs of a curve at one setting.
type measuredCell struct {
	point *analysis.CurvePoint
	runs  []*run.Run
}

// groupCells are the runs of a curve at each of its settings.
func (b *builder) groupCells(g *analysis.CurveGroup) []measuredCell {
	var list []measuredCell
	for i := range g.Points {
		p := &g.Points[i]
		list = append(list, measuredCell{p, b.cells[cellAt(g, p.SettingW, p.Setting)]})
	}
	return list
}

// mean is the mean of a quantity over the runs that have it, with the lowest and the highest
// of them; NaN without any, and no bounds of one run.
func (c measuredCell) mean(b *builder, of sensed) chart.Point {
	sum, n := 0.0, 0.0
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range c.runs {
		m, ok := b.in.Measured[r.ID]
		if !ok {
			continue
		}
		if v := of(m); !math.IsNaN(v) {
			sum, n = sum+v, n+1
			low, high = min(low, v), max(high, v)
		}
	}
	if n < 2 {
		low, high = math.NaN(), math.NaN()
	}
	return chart.Point{Y: sum / n, Lower: low, Upper: high}
}

// measuredSeries is a quantity of a curve's runs over the settings; without points where
// nothing has it.
func (b *builder) measuredSeries(g *analysis.CurveGroup, place settings, of sensed) chart.Series {
	s := b.legend.curve(g.Device, g.Variant)
	for _, c := range b.groupCells(g) {
		if q := c.mean(b, of); !math.IsNaN(q.Y) {
			q.X = place.at(c.point.SettingW, c.point.Setting)
			s.Points = append(s.Points, q)
		}
	}
	return s
}

// temperatureLabel says which temperature is drawn, where all runs have the same.
func (b *builder) temperatureLabel(groups []*analysis.CurveGroup) string {
	names := map[string]bool{}
	for _, g := range groups {
		for _, c := range b.groupCells(g) {
			for _, r := range c.runs {
				if m := b.in.Measured[r.ID]; m.TemperatureOf != "" {
					names[m.TemperatureOf] = true
				}
			}
		}
	}
	if len(names) == 1 {
		for name := range names {
			return "temperature of the " + name + ", °C"
		}
	}
	return "temperature, °C"
}

// coldest is where an axis of temperatures begins: at tens below all of them, since their
// zero means nothing; nil without any.
func (b *builder) coldest(groups []*analysis.CurveGroup) *float64 {
	low := math.Inf(1)
	for _, g := range groups {
		for _, c := range b.groupCells(g) {
			if q := c.mean(b, temperature); !math.IsNaN(q.Y) {
				low = min(low, q.Y)
				if !math.IsNaN(q.Lower) {
					low = min(low, q.Lower)
				}
			}
		}
	}
	if math.IsInf(low, 1) {
		return nil
	}
	low = 10 * math.Floor((low-3)/10)
	return &low
}

// sensorCharts draw temperature, clock and fan over the settings, a panel for each that any
// device has.
func (b *builder) sensorCharts(workload, supply string, groups []*analysis.CurveGroup) []chart.Chart {
	groups = slices.DeleteFunc(slices.Clone(groups), func(g *analysis.CurveGroup) bool {
		return !slices.ContainsFunc(b.groupCells(g), func(c measuredCell) bool {
			return slices.ContainsFunc(c.runs, func(r *run.Run) bool { _, ok := b.in.Measured[r.ID]; return ok })
		})
	})
	if len(groups) == 0 {
		return nil
	}
	place := placeSettings(curveSettings(groups))
	list := inParts(groups, func(part []*analysis.CurveGroup, which string) chart.Chart {
		return b.sensorChart(workload, supply, part, place, which)
	})
	return shareAxes(slices.DeleteFunc(list, func(c chart.Chart) bool { return len(c.Panels) == 0 }))
}

func (b *builder) sensorChart(workload, supply string, groups []*analysis.CurveGroup, place settings, which string) chart.Chart {
	c := chart.Chart{Sharing: true, Lines: []string{sentence.Joined(workload, onSupply(supply)) + ": means over the runs, against the setting"}}
	bars := false
	for _, quantity := range []struct {
		label string
		of    sensed
		from  *float64
	}{{b.temperatureLabel(groups), temperature, b.coldest(groups)}, {"clock of the processor, GHz", clockRate, new(float64)}, {"fan speed, rpm", fanSpeed, new(float64)}} {
		p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: quantity.label, From: quantity.from}}
		for _, g := range groups {
			if s := b.measuredSeries(g, place, quantity.of); len(s.Points) > 0 {
				s.NotKept = b.notKept(g, place)
				p.Series = append(p.Series, s)
				for _, q := range s.Points {
					bars = bars || q.Lower < q.Upper
				}
			}
		}
		if len(p.Series) > 0 {
			c.Panels = append(c.Panels, p)
		}
	}
	if len(c.Panels) == 0 {
		return c
	}
	c.Name = b.unique(fileName("sensors", workload, supply))
	c.Title = hottest(c.Panels[0], place) + which
	if bars {
		c.Key = []chart.Item{reachOfRuns}
	}
	c.Key = append(c.Key, markItems(c.Panels)...)
	c.Footer = b.footer(source{runs: ofGroups(workload, supply, keysOf(groups)), points: countRuns(groups)})
	c.Alt = c.Title + "."
	for _, p := range c.Panels[1:] {
		c.Alt += " " + hottest(p, place) + "."
	}
	return c
}

// hottest says what a panel shows at the largest setting that all its curves have and keep
// to, else at the largest that all have.
func hottest(p chart.Panel, place settings) string {
	last := sharedLast(p.Series, true)
	if math.IsInf(last, -1) {
		last = sharedLast(p.Series, false)
	}
	if math.IsInf(last, -1) {
		return "No setting in common: " + p.Y.Label
	}
	set := sentence.Watts(last) + " W"
	if len(place.names) > 0 {
		set = place.names[int(last)-1]
	}
	what, unit, _ := strings.Cut(p.Y.Label, ", ")
	if of, found := strings.CutPrefix(what, "temperature of the "); found {
		what = of
	}
	var parts []string
	for _, s := range p.Series {
		for _, q := range s.Points {
			if q.X == last {
				parts = append(parts, fmt.Sprintf("%s %s (%s)", sentence.Fixed(q.Y, max(0, 1-int(math.Log10(max(1, q.Y))))), unit, s.Name))
			}
		}
	}
	return fmt.Sprintf("Set to %s, %s: %s", set, what, sentence.Listed(parts, 4))
}

// sharedLast is the largest x that all curves have; kept leaves out those to which one does not
// keep. Without any it is minus infinity.
func sharedLast(list []chart.Series, kept bool) float64 {
	last := math.Inf(-1)
	for _, q := range list[0].Points {
		if !slices.ContainsFunc(list, func(s chart.Series) bool {
			return kept && slices.Contains(s.NotKept, q.X) || !slices.ContainsFunc(s.Points, func(x chart.Point) bool { return x.X == q.X })
		}) {
			last = max(last, q.X)
		}
	}
	return last
}
