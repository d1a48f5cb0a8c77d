package store

import (
	"context"

	"sweepd/run"
)

// Checker holds all that is kept against its checksums.
type Checker interface {
	// Check reads everything. What is damaged is no error: the report says it.
	Check(context.Context) (CheckReport, error)
}

// CheckReport says what of a store is damaged and what is whole.
type CheckReport struct {
	Path  string       `json:"path"`
	Whole bool         `json:"whole"` // nothing is damaged
	Runs  []CheckedRun `json:"runs"`  // in the order in which they came
	// Damaged is what concerns no run, or nobody knows which: idle readings, plans, the
	// file's structure, runs that are gone; a sentence each.
	Damaged []string `json:"damaged"`
}

// CheckedRun is a run that was checked.
type CheckedRun struct {
	ID        string        `json:"id"`
	Device    string        `json:"device"`
	Workload  string        `json:"workload"`
	StartedAt run.Timestamp `json:"started_at"`
	Damaged   []string      `json:"damaged"` // parts of it, such as "results" and "readings"; none where it is whole
}

// DamagedRuns counts the runs that are not whole.
func (r *CheckReport) DamagedRuns() (n int) {
	for _, x := range r.Runs {
		if len(x.Damaged) > 0 {
			n++
		}
	}
	return n
}
