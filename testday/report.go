package testday

import (
	"bytes"
	"context"
	"maps"
	"slices"

	"sweepd/exporter"
	"sweepd/report"
	"sweepd/run"
	"sweepd/store"
)

// ReportRequest says what a report is about.
type ReportRequest struct {
	Filter    store.Filter
	Lower     []string // results of which less is better
	Questions report.Questions
	Runs      []string // whose course is drawn; none: those with the worst findings
	Frames    []report.Frames
}

// Reportable reads what a report is made of.
type Reportable interface {
	store.Runs
	store.Readings
	store.AnalysisRuns
}

// ReportInput gathers what a report is made of: the runs that the filter selects, what
// the analysis says of those that count, and the course of some.
func ReportInput(ctx context.Context, s Reportable, q ReportRequest) (report.Input, error) {
	in := report.Input{Frames: q.Frames}
	x, err := Select(ctx, s, q.Filter, q.Lower)
	if err != nil {
		return in, err
	}
	if in.Runs, err = s.Runs(ctx, q.Filter); err != nil {
		return in, err
	}
	q.Questions.SwitchedOff = x.SwitchedOff
	if in.Study, err = report.Ask(x.Runs, q.Questions); err != nil {
		return in, err
	}
	var tidy bytes.Buffer
	if err := exporter.WriteTidy(&tidy, in.Runs); err != nil {
		return in, err
	}
	in.Tidy = tidy.Bytes()
	in.Devices = deviceFacts(x.Runs)
	in.Traces, err = traces(ctx, s, in.Runs, q.Runs)
	return in, err
}

// deviceFacts gathers what each device said of itself over all runs, but for the ids of
// machines: a page that is published names none, hidden or not.
func deviceFacts(runs []run.Run) []report.Device {
	facts := map[string]map[string][]string{}
	for i := range runs {
		r := &runs[i]
		if facts[r.Device] == nil {
			facts[r.Device] = map[string][]string{}
		}
		for name, value := range r.Facts {
			if name == run.FactHardwareID || name == run.FactSystemID {
				continue
			}
			if !slices.Contains(facts[r.Device][name], value) {
				facts[r.Device][name] = append(facts[r.Device][name], value)
			}
		}
	}
	var list []report.Device
	for _, name := range slices.Sorted(maps.Keys(facts)) {
		list = append(list, report.Device{Name: name, Facts: facts[name]})
	}
	return list
}
