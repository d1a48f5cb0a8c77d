package console

import (
	"errors"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// A result and a decision given together are kept together, or neither is.
func TestAmendAllOrNothing(t *testing.T) {
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	at := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)
	if err := s.BeginRun(t.Context(), run.Record{Run: run.Run{ID: "run-0001", State: run.Recording, StartedAt: run.Stamp(at)}}); err != nil {
		t.Fatal(err)
	}
	v := 61.3
	change := Amendment{Results: map[string]ResultMessage{"fps": {Value: &v}}, Decision: "reject", Why: "too warm"}
	if _, err := Amend(t.Context(), s, "last", change, nil, at); !errors.Is(err, store.ErrRecording) {
		t.Errorf("rejecting a run that is recording: %v", err)
	}
	r, err := s.Run(t.Context(), "last")
	if err != nil || len(r.Results) != 0 {
		t.Errorf("of a correction that failed, results %v were kept, %v", r.Results, err)
	}
}
