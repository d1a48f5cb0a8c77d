package report

import (
	"fmt"

	"sweepd/report/chart"
)

// inParts draws so many curves that one chart cannot hold them in several; which tells
// their titles apart.
func inParts[T any](curves []T, draw func(part []T, which string) chart.Chart) []chart.Chart {
	var list []chart.Chart
	parts := evenly(curves)
	for i, part := range parts {
		which := ""
		if len(parts) > 1 {
			which = fmt.Sprintf(" (%d of %d)", i+1, len(parts))
		}
		list = append(list, draw(part, which))
	}
	return list
}

// evenly splits what is too much for one chart into parts of about the same size.
func evenly[T any](list []T) [][]T {
	n := (len(list) + mostCurves - 1) / mostCurves
	var parts [][]T
	for ; n > 0; n-- {
		size := (len(list) + n - 1) / n
		parts, list = append(parts, list[:size]), list[size:]
	}
	return parts
}

// shareAxes gives panels of one title in several charts the same y axis.
func shareAxes(charts []chart.Chart) []chart.Chart {
	fits := map[string][]float64{}
	each := func(do func(p *chart.Panel)) {
		for i := range charts {
			for k := range charts[i].Panels {
				do(&charts[i].Panels[k])
			}
		}
	}
	each(func(p *chart.Panel) {
		if r := p.ReachY(); r.From <= r.To {
			fits[p.Title+p.Y.Label] = append(fits[p.Title+p.Y.Label], r.From, r.To)
		}
	})
	each(func(p *chart.Panel) { p.Y.Also = fits[p.Title+p.Y.Label] })
	return charts
}
