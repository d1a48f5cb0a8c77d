package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

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
		return b.powerChart(t, workload, supply, part, place, which)
	}))
}

func (b *builder) powerChart(t *Topic, workload, supply string, groups []*analysis.CurveGroup, place settings, which string) chart.Chart {
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: "package power, W", From: new(float64)}}
	c := chart.Chart{
		Name:  b.unique(fileName("package-power", workload, supply)),
		Title: b.powerTitle(t.Metric, groups) + which,
		Lines: []string{workload + " " + onSupply(supply) + ": measured package power, W, against the setting"},
	}
	if len(place.names) == 0 {
		p.Guides = append(p.Guides, chart.Guide{Text: "set = measured"})
	}
	c.Alt = c.Title + ". " + c.Lines[0] + "."
	several := false
	for _, g := range groups {
		s := b.legend.curve(g.Device, g.Variant)
		for _, x := range g.Points {
			if !x.PackageW.Known() {
				continue
			}
			lower, upper := b.spread(g, x, packageOf)
			several = several || lower < upper
			s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), x.PackageW, lower, upper))
		}
		s.NotKept = b.notKept(g, place)
		p.Series = append(p.Series, s)
		p.Guides = append(p.Guides, limits(g, s)...)
		if words := wordsOf(sentence.Followed(g)); words != "" {
			c.Alt += " " + s.Name + ": " + words
		}
	}
	if several {
		c.Key = []chart.Item{reachOfRuns}
	} else {
		for i := range p.Series {
			for k := range p.Series[i].Points {
				q := &p.Series[i].Points[k]
				q.Lower, q.Upper = math.NaN(), math.NaN()
			}
		}
	}
	c.Panels = []chart.Panel{p}
	c.Key = append(c.Key, markItems(c.Panels)...)
	c.Footer = b.footer(source{runs: ofGroups(workload, supply, keysOf(groups)), points: countRuns(groups)})
	return c
}

// powerTitle says whether devices follow their settings: first those that do not.
func (b *builder) powerTitle(metric string, groups []*analysis.CurveGroup) string {
	var parts, follow, open []string
	for _, g := range groups {
		name := b.legend.name(g.Device, g.Variant)
		text := followedTitle(name, g, b.curveClaims(metric, g))
		switch {
		case text != "":
			parts = append(parts, text)
		case g.Effective.Source == analysis.RangeFromPackage:
			follow = append(follow, name)
		default:
			open = append(open, name)
		}
	}
	switch {
	case len(follow) == 1:
		parts = append(parts, follow[0]+" follows every setting tested")
	case len(follow) > 1:
		parts = append(parts, sentence.Listed(follow, mostPlaces)+" follow every setting tested")
	}
	if len(open) > 0 {
		parts = append(parts, sentence.Listed(open, mostPlaces)+": too little measured to tell which settings are followed")
	}
	return strings.Join(parts, "; ")
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
		w := b.legend.curve(g.Device, g.Variant)
		h := w
		for _, x := range g.Points {
			n = append(n, x.N)
			at := place.at(x.SettingW, x.Setting)
			w.Points = append(w.Points, interval(at, x.SystemW, x.Lower, x.Upper))
			if x.RuntimeH.Known() {
				h.Points = append(h.Points, interval(at, x.RuntimeH, x.RuntimeLowerH, x.RuntimeUpperH))
			}
		}
		sources = append(sources, g.NoiseSource)
		if curve := b.batteryCurve(g); curve != nil {
			w.NotKept = b.notKept(curve, place)
			h.NotKept = w.NotKept
		}
		power.Series = append(power.Series, w)
		if len(h.Points) > 0 {
			runtime.Series = append(runtime.Series, h)
			exact = exact || !(g.FullEnergyRSE > 0)
		}
		if words := wordsOf(b.runtime(g)); words != "" {
			c.Alt += " " + w.Name + ": " + words
		}
	}
	c.Panels = []chart.Panel{power}
	c.Title = b.batteryTitle(groups)
	c.Lines = []string{workload + " on battery: power of the whole device"}
	if len(runtime.Series) > 0 {
		c.Panels = append(c.Panels, runtime)
		from := ""
		if exact { // no interval holds how well that energy is known
			from = "from the battery's stated energy, "
		}
		c.Lines[0] += ", and runtime " + from + "from full" + reserveText(r.Reserve) + ", against the setting"
	}
	c.Title += which
	c.Alt = c.Title + ". " + c.Lines[0] + "." + c.Alt
	c.Key = intervalItems(meanText(n), r.Confidence, c.Panels, sources...)
	c.Key = append(c.Key, markItems(c.Panels)...)
	c.Footer = b.footer(source{runs: ofGroups(workload, "battery", keys), points: n, confidence: r.Confidence})
	return c
}

// batteryTitle says how long devices last at the most efficient settings and at those of the
// best results, which the page advises; what they draw there where no energy is known.
func (b *builder) batteryTitle(groups []*analysis.BatteryGroup) string {
	lasts := slices.ContainsFunc(groups, func(g *analysis.BatteryGroup) bool {
		return slices.ContainsFunc(g.Points, func(p analysis.BatteryPoint) bool { return p.RuntimeH.Known() })
	})
	value := func(g *analysis.BatteryGroup, p *analysis.BatteryPoint) string {
		if lasts {
			return b.legend.name(g.Device, g.Variant) + " " + sentence.Clock(p.RuntimeH) + " at " + sentence.Setting(p.SettingW, p.Setting)
		}
		return b.legend.name(g.Device, g.Variant) + " " + sentence.Significant(float64(p.SystemW)) + " W at " + sentence.Setting(p.SettingW, p.Setting)
	}
	var efficient, best []string
	for _, g := range groups {
		curve := b.batteryCurve(g)
		if curve == nil {
			continue
		}
		advised := advisedSettings(curve)
		for i := range g.Points {
			p := &g.Points[i]
			if lasts && !p.RuntimeH.Known() || !p.SystemW.Known() {
				continue
			}
			switch k := slices.Index(advised, sentence.Setting(p.SettingW, p.Setting)); {
			case k >= 0 && k < len(advised)-1:
				efficient = append(efficient, value(g, p))
			case k >= 0:
				best = append(best, value(g, p))
			}
		}
	}
	what := "Draw of the whole device "
	if lasts {
		what = "Runtime "
	}
	const most = 2
	switch {
	case len(efficient) == 0 && len(best) == 0:
		return strings.TrimSuffix(what, " ") + " against the setting"
	case len(efficient) == 0:
		return what + "for the best result: " + sentence.Listed(best, mostPlaces)
	case len(best) == 0 || len(groups) > most:
		return what + "at the most efficient setting: " + sentence.Listed(efficient, mostPlaces)
	}
	return what + "at the most efficient setting: " + sentence.Listed(efficient, mostPlaces) + "; for the best result: " + sentence.Listed(best, mostPlaces)
}

func reserveText(reserve float64) string {
	if reserve == 0 {
		return " to empty"
	}
	return " to " + sentence.Percent(reserve)
}
