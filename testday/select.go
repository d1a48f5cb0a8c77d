package testday

import (
	"context"
	"errors"

	"sweepd/run"
	"sweepd/store"
)

// Selection is what an analysis is about.
type Selection struct {
	Runs        []run.Run     // that count
	Skipped     store.Skipped // how many selected ones do not
	SwitchedOff []run.Run     // interrupted on battery, which may be measured runtimes
}

// AnalysisRequest is what all analyses are asked for.
type AnalysisRequest struct {
	FilterRequest
	Metric string   `json:"metric"` // a result's name; "": the one that most runs have
	Lower  []string `json:"lower"`  // results of which less is better, beside those that the configuration names
	Noise  float64  `json:"noise"`  // relative standard deviation of one run, where nothing was repeated; 0: not declared
}

// selection reads the runs that the request selects.
func (q *AnalysisRequest) selection(ctx context.Context, d *Day) (x Selection, err error) {
	f, err := q.Filter(d.Now)
	if err != nil {
		return x, err
	}
	x, err = Select(ctx, d.Store, f, d.lower(q.Lower))
	if ahead := q.Ahead(d.Now); err == nil && len(x.Runs) == 0 && ahead != "" {
		return x, withSkipped(x, errors.New("no run was selected: "+ahead))
	}
	return x, err
}

// SkippedJSON counts the selected runs that an analysis did not take.
type SkippedJSON struct {
	Recording   int      `json:"recording"`
	Interrupted int      `json:"interrupted"`
	Rejected    int      `json:"rejected"`
	Damaged     []string `json:"damaged"` // ids
}

// skipped is the selection's count of what it does not take.
func (x *Selection) skipped() SkippedJSON {
	s := x.Skipped
	return SkippedJSON{s.Recording, s.Interrupted, s.Rejected, append([]string{}, s.Damaged...)}
}

// SelectionError is why an analysis failed, with what it would not have taken.
type SelectionError struct {
	Skipped SkippedJSON
	Err     error
}

func (e *SelectionError) Error() string { return e.Err.Error() }
func (e *SelectionError) Unwrap() error { return e.Err }

// withSkipped adds to an error what a selection left out; nil stays nil.
func withSkipped(x Selection, err error) error {
	if err == nil {
		return nil
	}
	return &SelectionError{x.skipped(), err}
}

// Select reads the runs that the filter selects. lower names the results of which less
// is better, beside those that were stored so.
func Select(ctx context.Context, s store.AnalysisRuns, f store.Filter, lower []string) (x Selection, err error) {
	if x.Runs, x.Skipped, err = s.AnalysisRuns(ctx, f); err != nil {
		return x, err
	}
	preferLower(x.Runs, lower)
	if x.Skipped.Interrupted > 0 {
		x.SwitchedOff, err = s.SwitchedOff(ctx, f)
	}
	return x, err
}
