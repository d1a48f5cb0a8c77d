package report

import (
	"math"
	"slices"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// settings places settings on an x axis: by watts, or by name in the order in
// which the analysis lists them where any has only a name.
type settings struct {
	names []string // empty: by watts
	watts []float64
}

type setting struct {
	watts analysis.Number
	name  string
}

// placeSettings gives the axis for settings.
func placeSettings(list []setting) settings {
	var s settings
	if slices.ContainsFunc(list, func(x setting) bool { return !x.watts.Known() }) {
		for _, x := range list {
			if text := sentence.Setting(x.watts, x.name); !slices.Contains(s.names, text) {
				s.names = append(s.names, text)
			}
		}
		return s
	}
	for _, x := range list {
		s.watts = append(s.watts, float64(x.watts))
	}
	slices.Sort(s.watts)
	s.watts = slices.Compact(s.watts)
	return s
}

// at is the place of a setting.
func (s settings) at(watts analysis.Number, name string) float64 {
	if len(s.names) == 0 {
		return float64(watts)
	}
	return float64(slices.Index(s.names, sentence.Setting(watts, name)) + 1)
}

// reach is the stretch that a setting stands for: half-way to its neighbours, and
// just past it where it is the first or the last.
func (s settings) reach(x float64) chart.Reach {
	if len(s.names) > 0 {
		return chart.Reach{From: x - 0.5, To: x + 0.5}
	}
	i, found := slices.BinarySearch(s.watts, x)
	if !found || len(s.watts) < 2 {
		return chart.Reach{From: x * (1 - pastOnly), To: x * (1 + pastOnly)}
	}
	past := pastOuter * (s.watts[len(s.watts)-1] - s.watts[0])
	r := chart.Reach{From: x - past, To: x + past}
	if i > 0 {
		r.From = (s.watts[i-1] + x) / 2
	}
	if i < len(s.watts)-1 {
		r.To = (x + s.watts[i+1]) / 2
	}
	return r
}

const (
	// pastOuter is how far a stretch goes past the first and the last setting: nothing
	// was tested there. It and beyondOuter, where the axis ends, are shares of the axis.
	pastOuter   = 0.02
	beyondOuter = 0.03
	// pastOnly is how far the stretch of an only setting goes, as a share of it.
	pastOnly = 0.015
	// mostOwnTicks is up to how many settings the axis names them instead of round
	// numbers.
	mostOwnTicks = 4
)

// axis is the x axis; the ends leave room for the strip's outer cells.
func (s settings) axis() chart.Axis {
	if len(s.names) > 0 {
		return chart.Axis{Label: "setting", Names: s.names}
	}
	a := chart.Axis{Label: "setting, W"}
	if n := len(s.watts); n > 0 {
		beyond := beyondOuter * (s.watts[n-1] - s.watts[0])
		if n == 1 {
			beyond = s.watts[0] * 0.1
		}
		from, to := s.watts[0]-beyond, s.watts[n-1]+beyond
		a.From, a.To = &from, &to
		if n <= mostOwnTicks {
			a.At = s.watts
		}
	}
	return a
}

// interval is a point with its interval; unknown ends stay out.
func interval(x float64, y, lower, upper analysis.Number) chart.Point {
	return chart.Point{X: x, Y: finite(y), Lower: finite(lower), Upper: finite(upper)}
}

// finite is a number to be drawn, NaN where it is infinite or not known.
func finite(n analysis.Number) float64 {
	if !n.Known() {
		return math.NaN()
	}
	return float64(n)
}
