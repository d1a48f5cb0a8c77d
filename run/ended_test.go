package run

import (
	"errors"
	"strings"
	"testing"
	"time"
)

func TestCorrected(t *testing.T) {
	seconds := 90.0
	e := Ended{Record: Record{Run: Run{ID: "019a0000-3f9c21ab", State: Finished, DurationS: &seconds, StartedAt: Stamp(time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC)),
		Results: map[string]Result{"seconds": {Value: 3, Better: Lower}}, Findings: []Finding{{Code: HotStart}, {Code: FramesShort}}}}}
	e.Corrections = []Correction{
		{Results: map[string]NewResult{"seconds": {Result: Result{Value: 4, Better: Higher}, KeepBetter: true}, "fps": {Result: Result{Value: 60, Better: Higher}}}},
		{Findings: map[Code]*Finding{FramesShort: nil, Outlying: {Code: Outlying}}},
		{Decision: Reject, Why: "an update"},
	}
	d := e.Corrected()
	if d.Results["seconds"] != (Result{Value: 4, Better: Lower}) || d.Results["fps"].Value != 60 || d.State != Rejected || d.Why != "an update" {
		t.Errorf("%+v", d.Run)
	}
	if !d.HasFinding(HotStart) || !d.HasFinding(Outlying) || d.HasFinding(FramesShort) {
		t.Errorf("findings %+v", d.Findings)
	}
	if len(e.Record.Results) != 1 || e.Record.Results["seconds"].Value != 3 || len(e.Record.Findings) != 2 || e.Record.State != Finished {
		t.Errorf("what it was made of changed: %+v", e.Record)
	}
	e.Corrections = append(e.Corrections, Correction{Decision: Keep, Why: "it was none"})
	if d := e.Corrected(); d.State != Finished || d.Why != "" {
		t.Errorf("kept again: %s, %q", d.State, d.Why)
	}
	if d := (&Ended{Corrections: e.Corrections[:1]}).Corrected(); len(d.Results) != 2 {
		t.Errorf("without results: %+v", d.Results)
	}

	full := errors.New("the disk is full")
	for in, want := range map[KeptIn]string{
		InMemory:  "run 3f9c21ab ended at 2026-05-04T09:31:30.000Z and is not stored yet: it is kept with its results in the agent's memory only: do not end the agent; it will be stored by itself as soon as that works: the disk is full",
		InJournal: "in the journal beside the data",
	} {
		err := NotStored(&e, in, full)
		if !strings.Contains(err.Error(), want) || !errors.Is(err, full) || err.Run.KeptIn != in || err.Run.Results["fps"].Value != 60 {
			t.Errorf("%s: %v, %+v", in, err, err.Run.Run)
		}
	}
}
