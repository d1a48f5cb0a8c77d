package console

import (
	"math"

	"sweepd/run"
)

// Runs gives runs the form in which they leave as JSON: lists and maps are
// never null.
func Runs(runs []run.Run) []run.Run {
	out := make([]run.Run, len(runs))
	for i, r := range runs {
		out[i] = Run(r)
	}
	return out
}

// Run gives one run the form that it has in a list: without discharge and facts.
func Run(r run.Run) run.Run {
	r.Discharge, r.Facts = nil, nil
	if r.Results == nil {
		r.Results = map[string]run.Result{}
	}
	if r.Findings == nil {
		r.Findings = []run.Finding{}
	}
	return r
}

// Detail is Runs for one with all that is kept of it. A run without a discharge
// gets one of unknown numbers.
func Detail(d run.Record) run.Record {
	discharge, facts := d.Discharge, d.Facts
	d.Run = Run(d.Run)
	d.Discharge, d.Facts = discharge, facts
	if d.Summaries == nil {
		d.Summaries = []run.Summary{}
	}
	if d.Discharge == nil {
		d.Discharge = &run.Discharge{}
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
