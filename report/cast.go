package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
)

// cast gives everything that a curve can be its look, the same in every chart of
// the report: devices (with their variant) and supplies.
type cast struct {
	groups   []string
	keys     [][2]string // device and variant of each group
	variants bool        // names need the variant
	devices  bool        // names need the device
}

// mostCurves is how many curves a chart holds: there are as many looks.
const mostCurves = 6

func newCast(s *Study) cast {
	var c cast
	seen := map[[2]string]bool{}
	for i := range s.runs {
		r := &s.runs[i]
		seen[[2]string{r.Device, string(r.Variant)}] = true
	}
	device, variant := map[string]bool{}, map[string]bool{}
	for k := range seen {
		device[k[0]], variant[k[1]] = true, true
	}
	c.devices, c.variants = len(device) > 1, len(variant) > 1
	for k := range seen {
		c.keys = append(c.keys, k)
	}
	slices.SortFunc(c.keys, func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0])) })
	for _, k := range c.keys {
		c.groups = append(c.groups, c.name(k[0], k[1]))
	}
	return c
}

// name is what a device with its variant is called in charts.
func (c cast) name(device, variant string) string {
	parts := []string{}
	if c.devices || !c.variants {
		parts = append(parts, cmp.Or(device, "unnamed device"))
	}
	if c.variants {
		parts = append(parts, cmp.Or(variant, "as it comes"))
	}
	return strings.Join(parts, ", ")
}

func (c cast) look(device, variant string) int {
	return max(0, slices.Index(c.groups, c.name(device, variant))) % mostCurves
}

// looks are the looks of several groups in one chart: each group's own, and, where
// there are more groups than looks and two have the same, the first that is free.
func (c cast) looks(keys [][2]string) map[[2]string]int {
	out := map[[2]string]int{}
	taken := [mostCurves]bool{}
	for _, k := range keys {
		if look := c.look(k[0], k[1]); !taken[look] {
			out[k], taken[look] = look, true
		}
	}
	for _, k := range keys {
		if _, has := out[k]; !has {
			out[k] = max(0, slices.Index(taken[:], false))
			taken[out[k]] = true
		}
	}
	return out
}

// supplyLooks are the looks of mains and battery: two that no group has, as long as
// there are any.
func (c cast) supplyLooks() (mains, battery int) {
	mains = min(max(2, len(c.groups)), mostCurves-2)
	return mains, mains + 1
}

func (c cast) supplyLook(supply string) int {
	mains, battery := c.supplyLooks()
	if supply == "battery" {
		return battery
	}
	return mains
}

// sideLooks are the looks of a comparison's sides.
func (c cast) sideLooks(x *analysis.Comparison) (a, b int) {
	if x.Factor == "supply" {
		return c.supplyLook(x.A), c.supplyLook(x.B)
	}
	p, okP := c.side(x, x.A)
	q, okQ := c.side(x, x.B)
	if !okP || !okQ || p == q {
		return mostCurves - 2, mostCurves - 1
	}
	looks := c.looks([][2]string{p, q})
	return looks[p], looks[q]
}

// side is the group that a side of a comparison of devices or variants is. Where a
// side of several pairs could be several groups, it is the first.
func (c cast) side(x *analysis.Comparison, name string) (group [2]string, ok bool) {
	if x.Factor == "device" {
		return [2]string{name, deref(x.Variant)}, true
	}
	key, value, _ := strings.Cut(name, "=")
	for _, k := range c.keys {
		if matches(x.Device, k[0]) && variantValue(k[1], key) == value {
			return k, true
		}
	}
	return group, false
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// onSupply says what feeds the device, for titles.
func onSupply(supply string) string {
	if supply == "" {
		return "on an unknown supply"
	}
	return "on " + supply
}

// conditions is what both sides of a comparison share, for titles.
func conditions(c *analysis.Comparison) string {
	var parts []string
	for _, s := range []string{deref(c.Device), deref(c.Variant)} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if c.Supply != nil {
		parts = append(parts, onSupply(*c.Supply))
	}
	return strings.Join(parts, ", ")
}

// runsText is a number of runs, or the least and most of several.
func runsText(n []int) string {
	n = slices.DeleteFunc(slices.Clone(n), func(v int) bool { return v == 0 })
	if len(n) == 0 {
		return "no run"
	}
	least, most := slices.Min(n), slices.Max(n)
	switch {
	case least == most && most == 1:
		return "1 run"
	case least == most:
		return fmt.Sprintf("%d runs", most)
	}
	return fmt.Sprintf("%d to %d runs", least, most)
}

// fileName makes a name of files out of words.
func fileName(parts ...string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.Join(parts, "-")) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	const most = 80
	name := b.String()
	return strings.Trim(name[:min(len(name), most)], "-")
}

// pointsText says what each point of a chart is.
func pointsText(n []int) string {
	if text := runsText(n); text != "1 run" {
		return "each point is the mean of " + text
	}
	return "each point is one run"
}

// intervalItems say what the bars of a chart are, and what they were told from. There
// is none where nothing has a bar.
func intervalItems(text string, confidence float64, panels []chart.Panel, sources ...analysis.NoiseSource) []chart.Item {
	drawn := func(q chart.Point) bool { return !math.IsNaN(q.Y) && !math.IsNaN(q.Lower) && !math.IsNaN(q.Upper) }
	for _, p := range panels {
		for _, s := range p.Series {
			if slices.ContainsFunc(s.Points, drawn) {
				return []chart.Item{{Symbol: chart.SymbolInterval, Text: fmt.Sprintf("%.0f %% interval", 100*confidence) + text + toldFrom(sources)}}
			}
		}
	}
	return nil
}

// ofTheMean is what an interval is of where runs were repeated.
const ofTheMean = " of the mean"

// toldFrom says what the noise was told from where it was not from repeats alone.
func toldFrom(sources []analysis.NoiseSource) string {
	words := []struct {
		source analysis.NoiseSource
		text   string
	}{
		{analysis.NoisePooled, "repeats"}, {analysis.NoiseWindow, "repeats"}, {analysis.NoisePooledRoughness, "few repeats and how rough the curve is"},
		{analysis.NoiseRoughness, "how rough the curve is"}, {analysis.NoiseDeclared, "what the user declared"},
	}
	var told []string
	for _, w := range words {
		if slices.Contains(sources, w.source) && !slices.Contains(told, w.text) {
			told = append(told, w.text)
		}
	}
	if len(told) == 0 || len(told) == 1 && told[0] == "repeats" {
		return ""
	}
	return ", its noise told from " + strings.Join(told, ", or ")
}

// evenly splits what is too much for one chart into parts of about the same size.
func evenly[T any](list []T) [][]T {
	if len(list) == 0 {
		return nil
	}
	n := (len(list) + mostCurves - 1) / mostCurves
	var parts [][]T
	for ; n > 0; n-- {
		size := (len(list) + n - 1) / n
		parts, list = append(parts, list[:size]), list[size:]
	}
	return parts
}

// partTitle tells the charts of one thing apart.
func partTitle(title string, i, n int) string {
	if n == 1 {
		return title
	}
	return fmt.Sprintf("%s (%d of %d)", title, i+1, n)
}

// shareAxes gives panels of the same place in several charts the same y axis.
func shareAxes(charts []chart.Chart) {
	if len(charts) < 2 {
		return
	}
	also := map[string][]float64{}
	each := func(do func(place string, p *chart.Panel)) {
		for i := range charts {
			for k := range charts[i].Panels {
				do(charts[i].Panels[k].Title, &charts[i].Panels[k])
			}
		}
	}
	each(func(place string, p *chart.Panel) {
		for _, s := range p.Series {
			for _, q := range s.Points {
				for _, v := range []float64{q.Y, q.Lower, q.Upper} {
					if !math.IsNaN(v) && !math.IsInf(v, 0) {
						also[place] = append(also[place], v)
					}
				}
			}
		}
		for _, g := range p.Guides {
			if g.Y != nil {
				also[place] = append(also[place], *g.Y)
			}
		}
	})
	each(func(place string, p *chart.Panel) {
		if list := also[place]; len(list) > 0 {
			p.Y.Also = []float64{slices.Min(list), slices.Max(list)}
		}
	})
}
