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
	samples []sample // by setting; after blocks, if there are any
	noise   noiseEstimate
	left    leftOut
}

// quantityOf is what a comparison compares, and whether less of it is better:
// the metric, or good results per watt.
func quantityOf(metric metricInfo, per string) (q quantity, lowerIsBetter bool) {
	if per == "" {
		return resultNamed(metric.name), metric.lower
	}
	return quotient(metric.goodness(), powerOf[per]), false
}

// withPower leaves a run without the quantity if it has no watts of its own, so
// that every run in a cell has a place on the axis of measured watts.
func withPower(q, power quantity) quantity {
	return func(r *run.Run) (float64, bool) {
		if w, ok := power(r); !ok || !usable(w) {
			return math.NaN(), false
		}
		return q(r)
	}
}

// estimateNoise fills in the side's noise.
func (s *side) estimateNoise(req CompareRequest, lowerIsBetter bool, spent float64) {
	opts := noiseOptions{lowerIsBetter: lowerIsBetter, declared: req.Declared, spent: spent}
	if req.Per == "" && inOrder(s.samples) {
		opts.departures = findDepartures // results per watt do not rise with the watts
	}
	s.noise = estimateNoise(s.samples, opts)
}

// inOrder tells whether the settings are known to rise from less to more power.
func inOrder(samples []sample) bool { return byWatts(samples) || namesHaveOrder(samples) }

// byWatts tells whether every setting has watts.
func byWatts(samples []sample) bool {
	return !slices.ContainsFunc(samples, func(s sample) bool { return math.IsNaN(s.watts) })
}

// usedRuns lists the runs in the side's samples.
func (s *side) usedRuns() []int { return usedRuns(s.samples) }
