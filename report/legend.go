package report

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// legend says what curves are called and in which style they are drawn, the same in every
// chart of the report: devices (with their variant) and supplies.
type legend struct {
	groups   []string
	keys     [][2]string // device and variant of each group
	fixed    []int       // the style of each group
	variants bool        // names need the variant
	devices  bool        // names need the device
}

// mostCurves is how many curves a chart holds: there are as many colours.
const mostCurves = 6

// newLegend gives each group its style; styles are those that devices have in other
// reports too, from 1.
func newLegend(s *Study, styles map[string]int) legend {
	var l legend
	seen := map[[2]string]bool{}
	for i := range s.runs {
		r := &s.runs[i]
		seen[[2]string{r.Device, string(r.Variant)}] = true
	}
	l.keys = slices.SortedFunc(maps.Keys(seen), func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0])) })
	l.devices = len(devicesOf(s.runs)) > 1
	l.variants = len(levels(s.runs, func(r *run.Run) []string { return []string{string(r.Variant)} })) > 1
	for _, k := range l.keys {
		l.groups = append(l.groups, l.name(k[0], k[1]))
	}
	l.fixed = fixStyles(l.keys, styles)
	return l
}

// fixStyles gives the first group of each device that has a style in all reports that
// style, and all others the styles that are left, in their order.
func fixStyles(keys [][2]string, styles map[string]int) []int {
	list := make([]int, len(keys))
	taken := map[int]bool{}
	for _, style := range styles { // also of devices that this report has not
		taken[style-1] = true
	}
	given := map[string]bool{}
	next := 0
	for i, k := range keys {
		style, fixed := styles[k[0]]
		if fixed && !given[k[0]] {
			list[i], given[k[0]] = style-1, true
			continue
		}
		for taken[next] {
			next++
		}
		list[i], taken[next] = next, true
	}
	return list
}

// name is what a device with its variant is called in charts.
func (l legend) name(device, variant string) string {
	device, variant = cmp.Or(device, "unnamed device"), cmp.Or(variant, "as it comes")
	switch {
	case !l.variants:
		return device
	case !l.devices:
		return variant
	}
	return device + ", " + variant
}

// curve is the series of a device with its variant, without points.
func (l legend) curve(device, variant string) chart.Series {
	return chart.Series{Name: l.name(device, variant), Style: l.style(device, variant), Joined: true}
}

// style is a group's style, the same in every chart of the report.
func (l legend) style(device, variant string) int {
	if i := slices.Index(l.groups, l.name(device, variant)); i >= 0 {
		return l.fixed[i]
	}
	return 0
}

// The styles of what is measured of one device, and of its supplies.
var (
	processorStyle = chart.Quantity(0)
	graphicsStyle  = chart.Quantity(1)
	batteryStyle   = chart.Quantity(2)
	mainsStyle     = chart.Quantity(3)
)

func supplyStyle(supply string) int {
	if supply == "battery" {
		return batteryStyle
	}
	return mainsStyle
}

// sideStyles are the styles of a comparison's sides.
func (l legend) sideStyles(x *analysis.Comparison) (a, b int) {
	if x.Factor == "supply" {
		return supplyStyle(x.A), supplyStyle(x.B)
	}
	p, okP := l.side(x, x.A)
	q, okQ := l.side(x, x.B)
	if !okP || !okQ || p == q {
		return len(l.groups), len(l.groups) + 1
	}
	return l.style(p[0], p[1]), l.style(q[0], q[1])
}

// side is the group that a side of a comparison of devices or variants is. Where a
// side of several pairs could be several groups, it is the first.
func (l legend) side(x *analysis.Comparison, name string) (group [2]string, ok bool) {
	if x.Factor == "device" {
		return [2]string{name, sentence.OrEmpty(x.Variant)}, true
	}
	key, value, _ := strings.Cut(name, "=")
	for _, k := range l.keys {
		if matches(x.Device, k[0]) && variantValue(run.Variant(k[1]), key) == value {
			return k, true
		}
	}
	return group, false
}
