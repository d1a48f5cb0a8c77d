package report

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// legend says what curves are called and in which style they are drawn, the same in every
// chart of the report: devices (with their variant) and supplies.
type legend struct {
	groups   []string
	keys     [][2]string // device and variant of each group
	variants bool        // names need the variant
	devices  bool        // names need the device
}

// mostCurves is how many curves a chart holds: there are as many styles.
const mostCurves = 6

func newLegend(s *Study) legend {
	var l legend
	seen := map[[2]string]bool{}
	for i := range s.runs {
		r := &s.runs[i]
		seen[[2]string{r.Device, string(r.Variant)}] = true
	}
	l.keys = slices.SortedFunc(maps.Keys(seen), func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0])) })
	l.devices = len(levels(s.runs, func(r *run.Run) []string { return []string{r.Device} })) > 1
	l.variants = len(levels(s.runs, func(r *run.Run) []string { return []string{string(r.Variant)} })) > 1
	for _, k := range l.keys {
		l.groups = append(l.groups, l.name(k[0], k[1]))
	}
	return l
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

func (l legend) style(device, variant string) int {
	return max(0, slices.Index(l.groups, l.name(device, variant))) % mostCurves
}

// styles are the styles of several groups in one chart: each group's own, and, where
// there are more groups than styles and two have the same, the first that is free.
func (l legend) styles(keys [][2]string) map[[2]string]int {
	out := map[[2]string]int{}
	taken := [mostCurves]bool{}
	for _, k := range keys {
		if style := l.style(k[0], k[1]); !taken[style] {
			out[k], taken[style] = style, true
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

// supplyStyles are the styles of mains and battery: two that no group has, as long as
// there are any.
func (l legend) supplyStyles() (mains, battery int) {
	mains = min(max(2, len(l.groups)), mostCurves-2)
	return mains, mains + 1
}

func (l legend) supplyStyle(supply string) int {
	mains, battery := l.supplyStyles()
	if supply == "battery" {
		return battery
	}
	return mains
}

// sideStyles are the styles of a comparison's sides.
func (l legend) sideStyles(x *analysis.Comparison) (a, b int) {
	if x.Factor == "supply" {
		return l.supplyStyle(x.A), l.supplyStyle(x.B)
	}
	p, okP := l.side(x, x.A)
	q, okQ := l.side(x, x.B)
	if !okP || !okQ || p == q {
		return mostCurves - 2, mostCurves - 1
	}
	styles := l.styles([][2]string{p, q})
	return styles[p], styles[q]
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
