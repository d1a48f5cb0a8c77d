package analysis

import (
	"math"
	"slices"

	"sweepd/run"
)

// side is the runs of one group in a comparison, along the settings.
type side struct {
	runs    []run.Run
	indices []int
	cells   []Cell // by setting; after blocks, if there are any
	noise   Noise
	left    LeftOut
}

// quantityOf is what a comparison compares, and whether less of it is better:
// the metric, or good results per watt.
func quantityOf(metric metricInfo, per string) (q Quantity, lowerIsBetter bool) {
	if per == "" {
		return Metric(metric.name), metric.lower
	}
	return Per(metric.goodness(), powerOf[per]), false
}

// withPower leaves a run without the quantity if it has no watts of its own, so
// that every run in a cell has a place on the axis of measured watts.
func withPower(q, power Quantity) Quantity {
	return func(r *run.Run) (float64, bool) {
		if w, ok := power(r); !ok || !usable(w) {
			return math.NaN(), false
		}
		return q(r)
	}
}

// estimateNoise fills in the side's noise.
func (s *side) estimateNoise(req CompareRequest, lowerIsBetter bool, spent float64) {
	opts := NoiseOptions{LowerIsBetter: lowerIsBetter, Declared: req.Declared, Spent: spent}
	if req.Per == "" && inOrder(s.cells) {
		opts.Departures = Departures // results per watt do not rise with the watts
	}
	s.noise = EstimateNoise(s.cells, opts)
}

// inOrder tells whether the settings are known to rise from less to more power.
func inOrder(cells []Cell) bool { return byWatts(cells) || namesHaveOrder(cells) }

// byWatts tells whether every setting has watts.
func byWatts(cells []Cell) bool {
	return !slices.ContainsFunc(cells, func(c Cell) bool { return math.IsNaN(c.SettingW) })
}

// used lists the runs in the side's cells.
func (s *side) used() []int {
	var all []int
	for _, c := range s.cells {
		all = append(all, c.Runs...)
	}
	return all
}
