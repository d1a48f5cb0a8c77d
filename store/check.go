package store

import (
	"context"

	"sweepd/run"
)

// Checker reads all that is kept and holds it against its checksums.
type Checker interface {
	// Check reads everything. What is damaged is no error: the report says it.
	Check(context.Context) (CheckReport, error)
}

// CheckReport says what of a store is damaged and what is whole.
type CheckReport struct {
	Path    string `json:"path"`
	Version int    `json:"version"` // of the data's schema
	// Checksums is false for data of version 1, which kept none: what is damaged so that it
	// cannot be read is found, a value that changed is not.
	Checksums bool         `json:"checksums"`
	Whole     bool         `json:"whole"` // nothing was found damaged
	Runs      []CheckedRun `json:"runs"`  // in the order in which they came
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

// Devices counts the devices of the runs.
func (r *CheckReport) Devices() int {
	all := map[string]bool{}
	for _, x := range r.Runs {
		all[x.Device] = true
	}
	return len(all)
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
