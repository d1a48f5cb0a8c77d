package testday

import (
	"context"
	"fmt"
	"slices"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// KeptRun is all that is kept of a run, with what was corrected and decided since.
type KeptRun struct {
	run.Record
	History store.History `json:"history"`
	// SoFar is how far a run is that is recording: its summaries and watts are those up to
	// then. Nil for one that has ended.
	SoFar *SoFar `json:"so_far"`
}

// SoFar is how far the recording of a run is, as far as it is stored.
type SoFar struct {
	Sweeps  int           `json:"sweeps"`
	Seconds float64       `json:"seconds"` // since the start
	At      run.Timestamp `json:"at"`      // of the last sweep; null for none
}

// ListRuns lists the runs that a filter selects, as lists show them.
var ListRuns = &Operation[FilterRequest, []run.Run]{
	About{Method: "GET", Path: "/runs", Summary: "Lists runs."},
	func(ctx context.Context, d *Day, q FilterRequest) ([]run.Run, error) {
		f, err := q.Filter(d.Now)
		if err != nil {
			return nil, err
		}
		return List(ctx, d.Store, f)
	},
}

// ShowRun shows all that is kept of a run.
var ShowRun = &Operation[RunRequest, KeptRun]{
	About{Method: "GET", Path: "/runs/{id}", Summary: "Shows all that is kept of a run."},
	func(ctx context.Context, d *Day, q RunRequest) (KeptRun, error) {
		k, err := Show(ctx, d.Store, q.ID)
		if err == nil && k.State == run.Recording {
			err = k.lookAt(ctx, d.Store)
		}
		return k, err
	},
}

// lookAt adds what the sweeps show of a run that is recording. What they would find
// against it is left to its end.
func (k *KeptRun) lookAt(ctx context.Context, s store.Readings) error {
	trace, err := s.Trace(ctx, k.ID)
	if err != nil {
		return err
	}
	seen := &countedTrace{Trace: trace}
	judged, err := judge.Judge(k.Record, seen, judge.Thresholds{})
	if err != nil {
		return err
	}
	k.SoFar = &seen.soFar
	if seen.soFar.Sweeps > 0 {
		k.SoFar.Seconds = *judged.DurationS
		k.Summaries, k.PackageW, k.Discharge = judged.Summaries, judged.PackageW, judged.Discharge
	}
	return nil
}

// countedTrace counts the sweeps of a trace as they are walked.
type countedTrace struct {
	run.Trace
	soFar SoFar
}

func (t *countedTrace) Each(f func(run.Sweep) error) error {
	t.soFar = SoFar{}
	return t.Trace.Each(func(s run.Sweep) error {
		t.soFar.Sweeps++
		t.soFar.At = run.Stamp(s.At.Wall)
		return f(s)
	})
}

// List reads the runs that the filter selects, as lists show them.
func List(ctx context.Context, s store.Runs, f store.Filter) ([]run.Run, error) {
	runs, err := s.Runs(ctx, f)
	return Listed(runs), err
}

// Show reads a run. id is any part that only one run has, or "last".
func Show(ctx context.Context, s store.Runs, id string) (k KeptRun, err error) {
	d, err := s.Run(ctx, id)
	if err != nil {
		return k, err
	}
	k.Record = complete(d)
	k.History, err = s.History(ctx, d.ID)
	k.adviseUndo()
	return k, err
}

// adviseUndo names the correction that a finding stands against, to take it back.
func (k *KeptRun) adviseUndo() {
	for _, c := range slices.Backward(k.History.Corrections) {
		if c.What != run.FieldSupply {
			continue
		}
		for i := range k.Findings {
			if f := &k.Findings[i]; f.Code == run.SupplyDisagrees {
				f.Advice = fmt.Sprintf("see which is right: `sweepd run correct --undo %s` takes the correction back", run.ShortID(c.Batch))
			}
		}
		return
	}
}
