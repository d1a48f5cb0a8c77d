package testday

import "sweepd/run"

// Listed gives runs the form in which they leave as JSON in a list: lists and maps
// are never null, discharge and facts are left out.
func Listed(runs []run.Run) []run.Run {
	out := make([]run.Run, len(runs))
	for i, r := range runs {
		out[i] = listed(r)
	}
	return out
}

func listed(r run.Run) run.Run {
	r.Discharge, r.Facts = nil, nil
	return withoutNulls(r)
}

// withoutNulls gives a run empty lists and maps in place of nil ones.
func withoutNulls(r run.Run) run.Run {
	if r.Results == nil {
		r.Results = map[string]run.Result{}
	}
	if r.Findings == nil {
		r.Findings = []run.Finding{}
	}
	r.SystemWSource = r.SourceOfSystemW()
	return r
}

// complete gives a run the form in which it leaves as JSON with all that is kept of
// it. Where there is no discharge it gets one of unknown numbers.
func complete(d run.Record) run.Record {
	d.Run = withoutNulls(d.Run)
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
