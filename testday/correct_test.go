package testday

import (
	"context"
	"errors"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// openStore gives a store that ends with the test.
func openStore(t *testing.T) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

var morning = time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)

// keepRun stores a run of a minute that ended.
func keepRun(t *testing.T, s store.Store, r run.Run) {
	t.Helper()
	if r.StartedAt.IsZero() {
		r.StartedAt = run.Stamp(morning)
	}
	if r.Device == "" {
		r.Device, r.Workload = "unit-oak", "tile-sort"
	}
	if r.State == "" {
		r.State = run.Finished
	}
	if r.DurationS == nil {
		minute := 60.0
		r.DurationS = &minute
	}
	begun := run.Record{Run: r}
	begun.State, begun.Results = run.Recording, nil
	if err := errors.Join(s.BeginRun(t.Context(), begun), s.FinishRun(t.Context(), run.Record{Run: r})); err != nil {
		t.Fatal(err)
	}
}

// transactions counts the corrections that a store is asked for.
type transactions struct {
	store.Store
	n   int
	err error
}

func (x *transactions) Correct(ctx context.Context, id string, c run.Correction) (run.Record, error) {
	if x.n++; x.err != nil {
		return run.Record{}, x.err
	}
	return x.Store.Correct(ctx, id, c)
}

func TestSeveralResultsAreOneTransaction(t *testing.T) {
	x := &transactions{Store: openStore(t)}
	keepRun(t, x.Store, run.Run{ID: "run-0001", Results: map[string]run.Result{"load": {Value: 4, Unit: "s", Better: run.Lower}}})
	framed := FrameResults{FramesS: 30}
	given := Results{"load": {Value: 3, Unit: "s"}, "fps": {Value: 61.3, Unit: "fps"}, "wait": {Value: 2}, "stalls": {Value: 1, Better: run.Lower}}
	d, err := Correct(t.Context(), x, "0001", given, &framed, ResultRules{Lower: []string{"wait"}}, "someone", morning)
	if err != nil || x.n != 1 {
		t.Fatalf("%d transactions, %v", x.n, err)
	}
	for name, better := range map[string]run.Better{"load": run.Lower, "fps": run.Higher, "wait": run.Lower, "stalls": run.Lower} {
		if got := d.Results[name]; got != (run.Result{Value: given[name].Value, Unit: given[name].Unit, Better: better}) {
			t.Errorf("%s is %+v, want better %s", name, got, better)
		}
	}
	if !d.HasFinding(run.FramesShort) {
		t.Errorf("half a run's frames: %+v", d.Findings)
	}
	if d, err = Correct(t.Context(), x, "last", Results{}, &FrameResults{FramesS: *d.DurationS}, ResultRules{}, "", morning); err != nil || d.HasFinding(run.FramesShort) {
		t.Errorf("the whole run's frames: %+v, %v", d.Findings, err)
	}
	if d, err = Correct(t.Context(), x, "last", Results{}, &framed, ResultRules{FramesShort: 0.5}, "", morning); err != nil || d.HasFinding(run.FramesShort) {
		t.Errorf("half a run's frames where half is enough: %+v, %v", d.Findings, err)
	}
}

func TestCorrectionsThatFail(t *testing.T) {
	x := &transactions{Store: openStore(t)}
	keepRun(t, x.Store, run.Run{ID: "run-0001"})
	var request *RequestError
	for name, r := range map[string]run.Result{"a,b": {Value: 1}, "a=b": {Value: 1}, "": {Value: 1}, "x": {Value: 1, Better: "faster"}, "y": {Value: 1, Unit: "a\nb"}} {
		if _, err := Correct(t.Context(), x, "last", Results{name: r, "fps": {Value: 2}}, nil, ResultRules{}, "", morning); !errors.As(err, &request) || x.n > 0 {
			t.Errorf("%q %+v: %v after %d transactions", name, r, err, x.n)
		}
	}
	if _, err := Correct(t.Context(), x, "none", Results{"fps": {Value: 2}}, nil, ResultRules{}, "", morning); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("no run: %v", err)
	}
	x.err = errors.New("disk full")
	if _, err := Correct(t.Context(), x, "last", Results{"fps": {Value: 2}}, nil, ResultRules{}, "", morning); !errors.Is(err, x.err) {
		t.Errorf("a store that fails: %v", err)
	}
}

func TestDecide(t *testing.T) {
	s := openStore(t)
	keepRun(t, s, run.Run{ID: "run-0001"})
	var request *RequestError
	if _, err := Decide(t.Context(), s, "last", run.Reject, " ", morning); !errors.As(err, &request) || err.Error() != "reason is empty" {
		t.Errorf("no reason: %v", err)
	}
	if _, err := Decide(t.Context(), s, "last", run.Keep, "why not", morning); !errors.Is(err, store.ErrNotRejected) {
		t.Errorf("keeping what is not rejected: %v", err)
	}
	if _, err := Decide(t.Context(), s, "none", run.Keep, "why not", morning); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("no run: %v", err)
	}
	d, err := Decide(t.Context(), s, "0001", run.Reject, "an update ran", morning)
	if err != nil || d.State != run.Rejected || d.Why != "an update ran" {
		t.Errorf("rejected: %+v, %v", d.Run, err)
	}
	if d, err = Decide(t.Context(), s, "0001", run.Keep, "it did not", morning); err != nil || d.State != run.Finished || d.Results == nil || d.Discharge == nil {
		t.Errorf("kept: %+v, %v", d, err)
	}
	k, err := Show(t.Context(), s, "last")
	if err != nil || len(k.History.Decisions) != 2 || k.Facts == nil || k.Summaries == nil {
		t.Errorf("history: %+v, %v", k, err)
	}
}
