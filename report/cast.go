package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
)

// cast gives everything that a curve can be its look, the same in every chart of
// the report: devices (with their variant) and supplies.
type cast struct {
	groups   []string
	variants bool // names need the variant
	devices  bool // names need the device
}

// mostCurves is how many curves a chart holds: there are as many looks.
const mostCurves = 6

func newCast(s *Study) cast {
	var c cast
	seen := map[[2]string]bool{}
	for i := range s.runs {
		r := &s.runs[i]
		seen[[2]string{r.Device, r.Variant}] = true
	}
	device, variant := map[string]bool{}, map[string]bool{}
	for k := range seen {
		device[k[0]], variant[k[1]] = true, true
	}
	c.devices, c.variants = len(device) > 1, len(variant) > 1
	keys := make([][2]string, 0, len(seen))
	for k := range seen {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0])) })
	for _, k := range keys {
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

// supplyLook is the look of a supply, apart from those of the first devices.
func supplyLook(supply string) int {
	if supply == "battery" {
		return 3
	}
	return 2
}

// sideLooks are the looks of a comparison's sides.
func (c cast) sideLooks(x *analysis.Comparison) (a, b int) {
	switch x.Factor {
	case "supply":
		return supplyLook(x.A), supplyLook(x.B)
	case "device":
		return c.look(x.A, deref(x.Variant)), c.look(x.B, deref(x.Variant))
	}
	return 4, 5
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

// intervalWords say what the bars of a chart are.
func intervalItem(confidence float64) chart.Item {
	return chart.Item{Symbol: chart.SymbolInterval, Text: fmt.Sprintf("%.0f %% interval of the mean", 100*confidence)}
}
