package testday

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// fakeAgent is as little of an agent as a test day needs. Each method fails with err
// where that is not nil.
type fakeAgent struct {
	recording *run.Run
	doubts    []run.Finding // of a run that starts
	reasons   []run.Reason  // not to start one, until asked for the third time
	asked     int
	wanted    run.Want
	stopped   run.Stop
	ended     *run.Record // the last one that was stopped
	frames    FrameResults
	status    Status
	unstored  bool // no run can be stored
	err       error
	holds     atomic.Int32
}

// notStored is what an agent says that could not store a run.
func (f *fakeAgent) notStored(d run.Record) (run.Record, error) {
	if !f.unstored {
		return d, f.err
	}
	return run.Record{}, run.NotStored(&run.Ended{Record: d}, run.InJournal, errDisk)
}

func (f *fakeAgent) StartRun(_ context.Context, s run.Start) (run.Run, error) {
	if f.err != nil {
		return run.Run{}, f.err
	}
	f.recording = &run.Run{ID: "019a0000-0001", State: run.Recording, Findings: f.doubts, Note: s.Note,
		Labels: run.Labels{Device: "unit-oak", Workload: s.Workload, Setting: s.Setting.From(run.Declared), Variant: s.Variant}}
	return *f.recording, nil
}

func (f *fakeAgent) StopRun(_ context.Context, s run.Stop) (run.Record, error) {
	if f.err != nil {
		return run.Record{}, f.err
	}
	if f.recording == nil || s.Run != "" && s.Run != f.recording.ID {
		if f.ended == nil || s.Run != f.ended.ID {
			return run.Record{}, run.ErrEnded
		}
		maps.Copy(f.ended.Results, s.Results)
		return *f.ended, nil
	}
	f.stopped = s
	length := 12.5
	d := run.Record{Run: *f.recording}
	d.State, d.DurationS, d.Results, f.recording = run.Finished, &length, map[string]run.Result{}, nil
	s.Apply(&d.Run)
	f.ended = &d
	return f.notStored(d)
}

func (f *fakeAgent) AddResults(_ context.Context, id string, r FrameResults) (run.Record, error) {
	f.frames = r
	return f.notStored(run.Record{Run: run.Run{ID: id, Results: r.Results}})
}

func (f *fakeAgent) Declare(context.Context, run.Setting, string) (Status, error) {
	return f.status, f.err
}

func (f *fakeAgent) Ready(_ context.Context, w run.Want) (run.Readiness, error) {
	f.asked++
	f.wanted = w
	if f.asked < 3 && len(f.reasons) > 0 {
		return run.Readiness{Reasons: f.reasons}, f.err
	}
	return run.Readiness{Fit: true}, f.err
}

func (f *fakeAgent) Status(context.Context) (Status, error) {
	f.status.Recording = f.recording
	return f.status, f.err
}

// HoldRun counts those who hold.
func (f *fakeAgent) HoldRun(ctx context.Context, _ string, held func()) error {
	f.holds.Add(1)
	held()
	defer f.holds.Add(-1)
	<-ctx.Done()
	return ctx.Err()
}

var (
	_ CorrectingAgent = (*fakeAgent)(nil)
	_ WatchedAgent    = (*fakeAgent)(nil)
)

var errAway = errors.New("no agent answers")

// failing is a store of which one method fails: the one that is named.
type failing struct {
	store.Store
	method string
}

var errDisk = errors.New("disk full")

func (f *failing) of(method string) error {
	if f.method == method {
		return errDisk
	}
	return nil
}

func (f *failing) Run(ctx context.Context, id string) (run.Record, error) {
	if err := f.of("Run"); err != nil {
		return run.Record{}, err
	}
	return f.Store.Run(ctx, id)
}

func (f *failing) Runs(ctx context.Context, x store.Filter) ([]run.Run, error) {
	if err := f.of("Runs"); err != nil {
		return nil, err
	}
	return f.Store.Runs(ctx, x)
}

func (f *failing) Records(ctx context.Context, x store.Filter) ([]run.Record, error) {
	if err := f.of("Records"); err != nil {
		return nil, err
	}
	return f.Store.Records(ctx, x)
}

func (f *failing) Devices(ctx context.Context) ([]store.DeviceRuns, error) {
	if err := f.of("Devices"); err != nil {
		return nil, err
	}
	return f.Store.Devices(ctx)
}

func (f *failing) AnalysisRuns(ctx context.Context, x store.Filter) ([]run.Run, store.Skipped, error) {
	if err := f.of("AnalysisRuns"); err != nil {
		return nil, store.Skipped{}, err
	}
	return f.Store.AnalysisRuns(ctx, x)
}

func (f *failing) SwitchedOff(ctx context.Context, x store.Filter) ([]run.Run, error) {
	if err := f.of("SwitchedOff"); err != nil {
		return nil, err
	}
	return f.Store.SwitchedOff(ctx, x)
}

func (f *failing) History(ctx context.Context, id string) (store.History, error) {
	if err := f.of("History"); err != nil {
		return store.History{}, err
	}
	return f.Store.History(ctx, id)
}

func (f *failing) Trace(ctx context.Context, id string) (run.Trace, error) {
	if err := f.of("Trace"); err != nil {
		return nil, err
	}
	return f.Store.Trace(ctx, id)
}

func (f *failing) IdleSweeps(ctx context.Context, device string, since time.Time) (run.Trace, error) {
	if err := f.of("IdleSweeps"); err != nil {
		return nil, err
	}
	return f.Store.IdleSweeps(ctx, device, since)
}

// failsWhereItsStoreDoes checks that what do does fails where a method of its store
// fails, and only then.
func failsWhereItsStoreDoes(t *testing.T, s store.Store, methods []string, do func(store.Store) error) {
	t.Helper()
	if err := do(&failing{s, ""}); err != nil {
		t.Errorf("nothing fails: %v", err)
	}
	for _, m := range methods {
		if err := do(&failing{s, m}); !errors.Is(err, errDisk) {
			t.Errorf("%s fails: %v", m, err)
		}
	}
}

// day is a test day of unit-oak: on mains and on battery, three times at each setting;
// the last run was rejected, one is interrupted on battery.
func day(t *testing.T, s store.Store) {
	t.Helper()
	minute := 60.0
	var list []run.Record
	at := morning
	for i := range 3 {
		for _, supply := range []run.Supply{run.Mains, run.Battery} {
			for _, w := range []float64{8, 12, 16} {
				at = at.Add(3 * time.Minute)
				packageW, systemW, wobble := w, 6+1.1*w, 1+0.02*(float64((5*i+3*len(list))%4)-1.5)
				r := run.Run{ID: "019a0000-" + at.Format("1504"), State: run.Finished, StartedAt: run.Stamp(at), DurationS: &minute, PackageW: &packageW,
					Labels:  run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: supply, Setting: run.Watts(w).From(run.Declared)},
					Results: map[string]run.Result{"seconds": {Value: 100 / w * wobble, Unit: "s", Better: run.Higher}},
					Facts:   map[string]string{"battery_full_wh": "48.6", "os": "sim 1"}}
				if supply == run.Battery {
					r.SystemW = &systemW
				}
				list = append(list, run.Record{Run: r})
			}
		}
	}
	last := &list[len(list)-1]
	last.State, last.Why = run.Rejected, "an update"
	list[4].State = run.Interrupted
	list[0].Facts = map[string]string{"os": "sim 0"}
	if _, _, err := s.Import(t.Context(), "", contract.Sequence(list...), nil); err != nil {
		t.Fatal(err)
	}
}

// watts are the settings of slots or points.
func watts[T any](list []T, of func(T) float64) []float64 {
	var out []float64
	for _, x := range list {
		out = append(out, of(x))
	}
	slices.Sort(out)
	return out
}
