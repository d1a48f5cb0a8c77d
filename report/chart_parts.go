package report

import (
	"math"
	"slices"
	"sweepd/report/chart"
)

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
