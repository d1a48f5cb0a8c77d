package console

import (
	"math"

	"sweepd/agent"
)

// Runs gives runs the form in which they leave as JSON: lists and maps are
// never null.
func Runs(runs []agent.Run) []agent.Run {
	out := make([]agent.Run, len(runs))
	for i, r := range runs {
		out[i] = Run(r)
	}
	return out
}

// Run is Runs for one.
func Run(r agent.Run) agent.Run {
	if r.Variant == nil {
		r.Variant = map[string]string{}
	}
	if r.Results == nil {
		r.Results = map[string]agent.Result{}
	}
	if r.Findings == nil {
		r.Findings = []agent.Finding{}
	}
	return r
}

// Detail is Runs for one with all that is kept of it. A run without a discharge
// gets one of unknown numbers.
func Detail(d agent.Detail) agent.Detail {
	d.Run = Run(d.Run)
	if d.Summaries == nil {
		d.Summaries = []agent.Summary{}
	}
	if d.Discharge == nil {
		d.Discharge = &agent.Discharge{}
	}
	if d.Facts == nil {
		d.Facts = map[string]string{}
	}
	return d
}

// known is nil for a number that JSON cannot hold.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
