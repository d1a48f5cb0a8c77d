package report

import (
	"fmt"
	"math"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// powerChart draws the measured package power against the setting beside the
// line on which both are equal, so that a floor and a cap show.
func (b *builder) powerChart(t *Topic, workload, supply string, groups []*analysis.CurveGroup) (chart.Chart, bool) {
	groups = groups[:min(len(groups), mostCurves)]
	place := placeSettings(curveSettings(groups)...)
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: "package power, W", From: new(float64)}}
	c := chart.Chart{
		Name:  b.unique(fileName("package-power", workload, supply)),
		Title: fmt.Sprintf("%s %s: does the device obey its setting?", workload, onSupply(supply)),
		Lines: []string{"measured package power against the setting; each point is the mean of " + runsText(countRuns(groups))},
		Key:   []chart.Item{{Symbol: chart.SymbolInterval, Text: "from the lowest run to the highest"}},
	}
	if len(place.names) == 0 {
		p.Guides = append(p.Guides, chart.Guide{Text: "set = measured"})
	}
	c.Alt = c.Title
	for _, g := range groups {
		s := chart.Series{Name: b.cast.name(g.Device, g.Variant), Look: b.cast.look(g.Device, g.Variant), Joined: true}
		for _, x := range g.Points {
			if x.PackageW.Known() {
				lower, upper := b.packageSpread(g, x)
				s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), x.PackageW, lower, upper))
			}
		}
		if len(s.Points) == 0 {
			continue
		}
		p.Series = append(p.Series, s)
		p.Guides = append(p.Guides, limits(g, s)...)
		c.Alt += " " + s.Name + ": " + firstOf(sentence.Curve(g))
	}
	c.Panels = []chart.Panel{p}
	return c, len(p.Series) > 0
}

// limits are the floor and the cap of a group.
func limits(g *analysis.CurveGroup, s chart.Series) []chart.Guide {
	var list []chart.Guide
	add := func(w analysis.Number, word string) {
		if w.Known() && g.Effective.Source == analysis.RangeFromPackage {
			y := float64(w)
			list = append(list, chart.Guide{Y: &y, Text: fmt.Sprintf("%s of %s: %s W", word, s.Name, sentence.Significant(y)), Look: s.Look + 1, Low: word == "floor", Left: word == "cap"})
		}
	}
	add(g.Effective.FloorW, "floor")
	add(g.Effective.CapW, "cap")
	return list
}

func firstOf(list []sentence.Sentence) string {
	if len(list) == 0 {
		return ""
	}
	return list[0].Text
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

// batteryChart draws the power of the whole device and the runtime against the
// setting.
func (b *builder) batteryChart(r *analysis.BatteryResult, workload string, groups []*analysis.BatteryGroup) (chart.Chart, bool) {
	groups = groups[:min(len(groups), mostCurves)]
	var lists [][]setting
	var n []int
	for _, g := range groups {
		var list []setting
		for _, p := range g.Points {
			list = append(list, setting{p.SettingW, p.Setting})
			n = append(n, p.N)
		}
		lists = append(lists, list)
	}
	place := placeSettings(lists...)
	power := chart.Panel{Title: "power of the whole device, W", X: place.axis(), Y: chart.Axis{From: new(float64)}}
	runtime := chart.Panel{Title: "runtime of a full battery, h", X: place.axis(), Y: chart.Axis{From: new(float64)}}
	c := chart.Chart{
		Name: b.unique(fileName("battery", workload)), Title: workload + " on battery: power and runtime",
		Lines:  []string{fmt.Sprintf("each point is the mean of %s; runtime from full%s", runsText(n), reserveText(r.Reserve))},
		Key:    []chart.Item{intervalItem(r.Confidence)},
		Beside: true,
	}
	c.Alt = c.Title + "."
	for _, g := range groups {
		name, look := b.cast.name(g.Device, g.Variant), b.cast.look(g.Device, g.Variant)
		w, h := chart.Series{Name: name, Look: look, Joined: true}, chart.Series{Name: name, Look: look, Joined: true}
		for _, x := range g.Points {
			at := place.at(x.SettingW, x.Setting)
			w.Points = append(w.Points, interval(at, x.SystemW, x.Lower, x.Upper))
			if x.RuntimeH.Known() {
				h.Points = append(h.Points, interval(at, x.RuntimeH, x.RuntimeLowerH, x.RuntimeUpperH))
			}
		}
		power.Series = append(power.Series, w)
		if len(h.Points) > 0 {
			runtime.Series = append(runtime.Series, h)
		}
		c.Alt += " " + name + ": " + wordsOf(sentence.Runtime(r, g))
	}
	c.Panels = []chart.Panel{power}
	if len(runtime.Series) > 0 {
		c.Panels = append(c.Panels, runtime)
	}
	return c, len(groups) > 0
}

func reserveText(reserve float64) string {
	if reserve == 0 {
		return " to empty"
	}
	return fmt.Sprintf(" to %.0f %%", 100*reserve)
}
