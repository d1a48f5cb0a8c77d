package report

import (
	"fmt"
	"math"
	"slices"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// powerCharts draw the measured package power against the setting beside the line on
// which both are equal, so that a floor and a cap show.
func (b *builder) powerCharts(t *Topic, workload, supply string, groups []*analysis.CurveGroup) []chart.Chart {
	groups = slices.DeleteFunc(slices.Clone(groups), func(g *analysis.CurveGroup) bool {
		return !slices.ContainsFunc(g.Points, func(x analysis.CurvePoint) bool { return x.PackageW.Known() })
	})
	place := placeSettings(curveSettings(groups))
	return shareAxes(inParts(groups, func(part []*analysis.CurveGroup, which string) chart.Chart {
		return b.powerChart(workload, supply, part, place, which)
	}))
}

func (b *builder) powerChart(workload, supply string, groups []*analysis.CurveGroup, place settings, which string) chart.Chart {
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: "package power, W", From: new(float64)}}
	c := chart.Chart{
		Name:  b.unique(fileName("package-power", workload, supply)),
		Title: fmt.Sprintf("%s %s: does the device obey its setting?%s", workload, onSupply(supply), which),
		Lines: []string{"measured package power against the setting; " + pointsText(countRuns(groups))},
	}
	if len(place.names) == 0 {
		p.Guides = append(p.Guides, chart.Guide{Text: "set = measured"})
	}
	c.Alt = c.Title
	several := false
	for _, g := range groups {
		s := chart.Series{Name: b.legend.name(g.Device, g.Variant), Style: b.legend.style(g.Device, g.Variant), Joined: true}
		var ends []string
		for _, x := range g.Points {
			if !x.PackageW.Known() {
				continue
			}
			lower, upper := b.packageSpread(g, x)
			several = several || lower < upper
			s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), x.PackageW, lower, upper))
			ends = append(ends, sentence.Significant(float64(x.PackageW))+" W at "+sentence.Setting(x.SettingW, x.Setting))
		}
		p.Series = append(p.Series, s)
		p.Guides = append(p.Guides, limits(g, s)...)
		c.Alt += " " + s.Name + ": " + firstAndLast(ends) + "." + spaced(wordsOf(sentence.Followed(g)))
	}
	if several {
		c.Key = []chart.Item{{Symbol: chart.SymbolInterval, Text: "from the lowest run to the highest"}}
	} else {
		for i := range p.Series {
			for k := range p.Series[i].Points {
				q := &p.Series[i].Points[k]
				q.Lower, q.Upper = math.NaN(), math.NaN()
			}
		}
	}
	c.Panels = []chart.Panel{p}
	c.Footer = b.footer(source{runs: ofGroups(workload, supply, keysOf(groups)), points: countRuns(groups)})
	return c
}

// firstAndLast are the ends of a list.
func firstAndLast(list []string) string {
	switch len(list) {
	case 0:
		return sentence.Dash
	case 1:
		return list[0]
	}
	return list[0] + ", " + list[len(list)-1]
}

func spaced(text string) string {
	if text == "" {
		return ""
	}
	return " " + text
}

// limits are the floor and the cap of a group.
func limits(g *analysis.CurveGroup, s chart.Series) []chart.Guide {
	var list []chart.Guide
	add := func(w analysis.Number, word string) {
		if w.Known() && g.Effective.Source == analysis.RangeFromPackage {
			y := float64(w)
			list = append(list, chart.Guide{Y: &y, Text: fmt.Sprintf("%s of %s: %s W", word, s.Name, sentence.Significant(y)), Style: s.Style + 1, Low: word == "floor", Left: word == "cap"})
		}
	}
	add(g.Effective.FloorW, "floor")
	add(g.Effective.CapW, "cap")
	return list
}

// packageSpread is the lowest and highest package power of a point's runs.
func (b *builder) packageSpread(g *analysis.CurveGroup, x analysis.CurvePoint) (lower, upper analysis.Number) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range b.cells[cellKey{g.Device, g.Workload, g.Supply, g.Variant, sentence.Setting(x.SettingW, x.Setting)}] {
		if r.PackageW != nil {
			low, high = min(low, *r.PackageW), max(high, *r.PackageW)
		}
	}
	return analysis.Number(low), analysis.Number(high)
}

// batteryCharts draw the power of the whole device and the runtime against the
// setting.
func (b *builder) batteryCharts(r *analysis.BatteryResult, workload string, groups []*analysis.BatteryGroup) []chart.Chart {
	var list []setting
	for _, g := range groups {
		for _, p := range g.Points {
			list = append(list, setting{p.SettingW, p.Setting})
		}
	}
	place := placeSettings(list)
	return shareAxes(inParts(groups, func(part []*analysis.BatteryGroup, which string) chart.Chart {
		return b.batteryChart(r, workload, part, place, which)
	}))
}

func (b *builder) batteryChart(r *analysis.BatteryResult, workload string, groups []*analysis.BatteryGroup, place settings, which string) chart.Chart {
	power := chart.Panel{Title: "power of the whole device, W", X: place.axis(), Y: chart.Axis{From: new(float64)}}
	runtime := chart.Panel{Title: "runtime of a full battery, h", X: place.axis(), Y: chart.Axis{From: new(float64)}}
	c := chart.Chart{Name: b.unique(fileName("battery", workload)), Beside: true}
	var n []int
	var keys [][2]string
	var sources []analysis.NoiseSource
	for _, g := range groups {
		keys = append(keys, [2]string{g.Device, g.Variant})
	}
	exact := false
	for _, g := range groups {
		name, style := b.legend.name(g.Device, g.Variant), b.legend.style(g.Device, g.Variant)
		w, h := chart.Series{Name: name, Style: style, Joined: true}, chart.Series{Name: name, Style: style, Joined: true}
		var ends []string
		for _, x := range g.Points {
			n = append(n, x.N)
			at := place.at(x.SettingW, x.Setting)
			w.Points = append(w.Points, interval(at, x.SystemW, x.Lower, x.Upper))
			ends = append(ends, valueText(x.SystemW, x.Lower, x.Upper, "W")+" at "+sentence.Setting(x.SettingW, x.Setting))
			if x.RuntimeH.Known() {
				h.Points = append(h.Points, interval(at, x.RuntimeH, x.RuntimeLowerH, x.RuntimeUpperH))
			}
		}
		sources = append(sources, g.NoiseSource)
		power.Series = append(power.Series, w)
		if len(h.Points) > 0 {
			runtime.Series = append(runtime.Series, h)
			exact = exact || !(g.FullEnergyRSE > 0)
		}
		c.Alt += " " + name + ": " + firstAndLast(ends) + "." + spaced(wordsOf(sentence.Runtime(r, g)))
	}
	c.Panels = []chart.Panel{power}
	c.Title, c.Lines = workload+" on battery: power of the whole device", []string{pointsText(n)}
	if len(runtime.Series) > 0 {
		c.Panels = append(c.Panels, runtime)
		c.Title = workload + " on battery: power and runtime"
		from := ""
		if exact { // no interval holds how well that energy is known
			from = "from the battery's stated energy, "
		}
		c.Lines[0] += "; runtime " + from + "from full" + reserveText(r.Reserve)
	}
	c.Title += which
	c.Alt = c.Title + "." + c.Alt
	c.Key = intervalItems(meanText(n), r.Confidence, c.Panels, sources...)
	c.Footer = b.footer(source{runs: ofGroups(workload, "battery", keys), points: n, confidence: r.Confidence})
	return c
}

func reserveText(reserve float64) string {
	if reserve == 0 {
		return " to empty"
	}
	return " to " + sentence.Percent(reserve)
}
