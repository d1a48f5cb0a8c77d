package run

import (
	"fmt"
	"maps"
	"slices"
	"time"
)

// Ended is a run that has ended and that no store took yet, with all that is needed to
// judge and store it.
type Ended struct {
	// Record is as it was recorded, with state, duration and results as it ended.
	Record Record
	// Corrections are what was corrected since, in order.
	Corrections []Correction
	// Sweeps is how many were taken; Lost tells of those of them that no store will get.
	Sweeps int
	Lost   []Loss
}

// At is when the run ended.
func (e *Ended) At() time.Time {
	return e.Record.StartedAt.Add(time.Duration(e.Record.Seconds() * float64(time.Second)))
}

// Corrected is the record as corrections leave it.
func (e *Ended) Corrected() Record {
	d := e.Record
	d.Results, d.Findings = map[string]Result{}, slices.Clone(d.Findings)
	maps.Copy(d.Results, e.Record.Results)
	for _, c := range e.Corrections {
		for name, r := range c.Results {
			if old, ok := d.Results[name]; ok && r.KeepBetter {
				r.Better = old.Better
			}
			d.Results[name] = r.Result
		}
		for _, x := range c.Changes { // they were checked when they were given
			_ = x.Apply(&d.Run)
		}
		d.Findings = slices.DeleteFunc(d.Findings, func(f Finding) bool { _, replaced := c.Findings[f.Code]; return replaced })
		for _, code := range slices.Sorted(maps.Keys(c.Findings)) {
			if f := c.Findings[code]; f != nil {
				d.Findings = append(d.Findings, *f)
			}
		}
		switch c.Decision {
		case Reject:
			d.State, d.Why = Rejected, c.Why
		case Keep:
			if d.State == Interrupted {
				d.KeepInterrupted(c.Why)
			} else {
				d.State, d.Why = e.Record.State, ""
			}
		}
	}
	return d
}

// KeptIn says where a run is kept that no store took yet.
type KeptIn string

const (
	InMemory  KeptIn = "memory"  // it is lost if the agent is killed or cannot store it before it ends
	InJournal KeptIn = "journal" // it is on disk beside the data: the next agent stores it if this one does not
)

// NotStoredError is returned where a run has ended, or was corrected after its end, and
// could not be stored. It is kept, and stored as soon as that works.
type NotStoredError struct {
	Run  Record // as it is kept
	Text string // all that is to be said of it
	Err  error
}

// NotStored says of a run that it is kept, and where.
func NotStored(e *Ended, in KeptIn, why error) *NotStoredError {
	d := e.Corrected()
	d.KeptIn = in
	kept := "in the agent's memory only: do not end the agent"
	if in == InJournal {
		kept = "in the journal beside the data, where the next agent finds it if this one ends"
	}
	return &NotStoredError{d, fmt.Sprintf("run %s ended at %s and is not stored yet: it is kept with its results %s; it will be stored by itself as soon as that works: %v",
		ShortID(d.ID), Stamp(e.At()), kept, why), why}
}

func (e *NotStoredError) Error() string { return e.Text }
func (e *NotStoredError) Unwrap() error { return e.Err }
