package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// fill records runs of a device as an agent would, with idle sweeps around.
func fill(t *testing.T, s *Store, device string, runs int) {
	t.Helper()
	sensors := []run.Sensor{
		{ID: run.PackagePower, Unit: "watts", Source: "/" + device, Resolution: 1e-6},
		{ID: run.BatteryCharge, Instance: "BAT0", Unit: "ratio", Resolution: 0.01},
	}
	ctx := t.Context()
	at := 0
	add := func(id string, n int) {
		for range n {
			must(t, s.Append(ctx, run.Batch{Device: device, RunID: id, Sensors: sensors, Sweeps: []run.Sweep{quarter(at, float64(at), 0.5)}}))
			at++
		}
	}
	for i := range runs {
		id := fmt.Sprintf("%s-run-%03d", device, i)
		add("", 3)
		d := newRun(id)
		d.Device, d.Facts["device"] = device, device
		must(t, s.BeginRun(ctx, d))
		add(id, 100)
		d.State = run.Finished
		d.Summaries = []run.Summary{{Sensor: run.PackagePower, Unit: "watts", Mean: new(12.5)}}
		d.Results["score"] = run.Result{Value: float64(i), Better: run.Higher}
		must(t, s.FinishRun(ctx, d))
	}
	add("", 3)
}

// quarter is the sweep i quarter seconds after noon.
func quarter(i int, values ...float64) run.Sweep {
	mono := time.Hour + time.Duration(i)*250*time.Millisecond
	return run.Sweep{At: run.Instant{Mono: mono, Boot: mono, Wall: noon.Add(mono)}, Values: values, Setting: declaredWatts(25), Supply: run.Mains}
}

// sum is all of a trace in one number that any loss would change.
func sum(t *testing.T, trace run.Trace, err error) (n int, total float64) {
	t.Helper()
	must(t, err)
	must(t, trace.Each(func(s run.Sweep) error {
		n++
		for i, v := range s.Values {
			if !math.IsNaN(v) {
				total += v * float64(i+n)
			}
		}
		return nil
	}))
	return n, total
}

func TestMerge(t *testing.T) {
	ctx := t.Context()
	oak, elm := openTest(t), openTest(t)
	fill(t, oak, "unit-oak", 3)
	fill(t, elm, "unit-elm", 45)
	correct(t, elm, "unit-elm-run-000", oneResult("score", run.Result{Value: 99, Better: run.Higher}, noon))
	correct(t, elm, "unit-elm-run-001", reject("fan blocked"))
	must(t, elm.BeginRun(ctx, newRun("unit-elm-now")))

	var steps []int
	report, err := oak.Merge(ctx, elm.Path(), func(done, total int) { steps = append(steps, done, total) })
	must(t, err)
	if report.Added != 45 || report.Known != 0 || len(report.Conflicts) != 0 || report.Rows == 0 {
		t.Errorf("report %+v", report)
	}
	if diff := cmp.Diff([]string{"unit-elm-now"}, report.Recording); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]int{20, 46, 40, 46, 46, 46}, steps); diff != "" {
		t.Errorf("progress (-want +got):\n%s", diff)
	}
	sameRuns(t, elm, oak, "unit-elm")

	again, err := oak.Merge(ctx, elm.Path(), nil)
	must(t, err)
	if again.Added != 0 || again.Known != 45 || again.Rows != 0 || len(again.Conflicts) != 0 {
		t.Errorf("merging again: %+v", again)
	}
	// The other device records on; what is new comes over, in its own series too.
	fill(t, elm, "unit-elm-later", 1)
	more, err := oak.Merge(ctx, elm.Path(), nil)
	must(t, err)
	if more.Added != 1 || more.Known != 45 {
		t.Errorf("merging more: %+v", more)
	}
	sameRuns(t, elm, oak, "unit-elm-later")
}

// A result keeps the time at which it was given: once it is corrected here, the history
// tells that time.
func TestMergeKeepsWhenResultsWereGiven(t *testing.T) {
	here, there := openTest(t), openTest(t)
	fill(t, there, "unit-elm", 1)
	const id = "unit-elm-run-000"
	correct(t, there, id, oneResult("load", run.Result{Value: 3, Better: run.Lower}, noon))
	_, err := here.Merge(t.Context(), there.Path(), nil)
	must(t, err)
	correct(t, here, id, oneResult("load", run.Result{Value: 4, Better: run.Lower}, noon.Add(time.Hour)))
	h, err := here.History(t.Context(), id)
	must(t, err)
	want := []store.OldResult{{Name: "load", Result: run.Result{Value: 3, Better: run.Lower}, SetAt: run.Stamp(noon), ReplacedAt: run.Stamp(noon.Add(time.Hour))}}
	if diff := cmp.Diff(want, h.Results); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

// sameRuns compares all that two stores know of a device.
func sameRuns(t *testing.T, want, got *Store, device string) {
	t.Helper()
	ctx := t.Context()
	a, err := want.Records(ctx, store.Filter{Device: device})
	must(t, err)
	b, err := got.Records(ctx, store.Filter{Device: device})
	must(t, err)
	if diff := cmp.Diff(a, b); diff != "" {
		t.Errorf("runs of %s (-want +got):\n%s", device, diff)
	}
	for _, d := range a {
		compareTraces(t, d.ID, func(s *Store) (run.Trace, error) { return s.Trace(ctx, d.ID) }, want, got)
		x, err := want.History(ctx, d.ID)
		must(t, err)
		y, err := got.History(ctx, d.ID)
		must(t, err)
		if diff := cmp.Diff(x, y); diff != "" {
			t.Errorf("history of %s (-want +got):\n%s", d.ID, diff)
		}
	}
	compareTraces(t, "idle", func(s *Store) (run.Trace, error) { return s.IdleSweeps(ctx, device, noon) }, want, got)
}

func compareTraces(t *testing.T, what string, open func(*Store) (run.Trace, error), want, got *Store) {
	t.Helper()
	x, err := open(want)
	n, total := sum(t, x, err)
	y, err := open(got)
	m, other := sum(t, y, err)
	if n == 0 || n != m || total != other {
		t.Errorf("%s: %d sweeps with sum %v, want %d with %v", what, m, other, n, total)
	}
	if diff := cmp.Diff(x.Sensors(), y.Sensors()); diff != "" {
		t.Errorf("sensors of %s (-want +got):\n%s", what, diff)
	}
}

func TestMergeConflicts(t *testing.T) {
	ctx := t.Context()
	a, b := openTest(t), openTest(t)
	fill(t, a, "unit-oak", 2)
	fill(t, b, "unit-oak", 2)
	correct(t, b, "unit-oak-run-001", oneResult("score", run.Result{Value: 7, Unit: "points", Better: run.Higher}, noon))
	correct(t, b, "unit-oak-run-001", reject("fan blocked"))
	report, err := a.Merge(ctx, b.Path(), nil)
	must(t, err)
	want := []store.Conflict{{Run: "unit-oak-run-001", Differences: []string{
		`state: "finished" here, "rejected" there`, `why: "" here, "fan blocked" there`,
		"result score: 1 (higher is better) here, 7points (higher is better) there"}}}
	if diff := cmp.Diff(want, report.Conflicts); diff != "" || report.Added != 0 || report.Known != 1 {
		t.Errorf("%+v (-want +got):\n%s", report, diff)
	}
	d, err := a.Run(ctx, "unit-oak-run-001")
	must(t, err)
	if d.State != run.Finished || d.Results["score"].Value != 1 {
		t.Errorf("the conflicting run was overwritten: %+v", d)
	}
}

func TestMergeRefuses(t *testing.T) {
	s := openTest(t)
	fill(t, s, "unit-oak", 1)
	if _, err := s.Merge(t.Context(), s.Path(), nil); !errors.Is(err, ErrSameFile) {
		t.Errorf("merging a file into itself: %v", err)
	}
	if _, err := s.Merge(t.Context(), t.TempDir(), nil); !errors.Is(err, ErrNoData) {
		t.Errorf("merging an empty folder: %v", err)
	}
	r, err := Open(s.Path(), Options{ReadOnly: true})
	must(t, err)
	defer r.Close()
	if _, err := r.Merge(t.Context(), t.TempDir(), nil); err == nil || !strings.Contains(err.Error(), "reading only") {
		t.Errorf("merging into a store opened for reading: %v", err)
	}
}

// A merge that is stopped leaves no run and says so in one sentence, without what the
// transactions say that end with it.
func TestMergeIsStopped(t *testing.T) {
	here, there := openTest(t), openTest(t)
	runs := manyRuns(200)
	_, _, err := there.Import(t.Context(), "", contract.Sequence(runs...), nil)
	must(t, err)
	for _, at := range []int{20, 200} {
		ctx, cancel := context.WithCancel(t.Context())
		_, err := here.Merge(ctx, there.Path(), func(done, _ int) {
			if done >= at {
				cancel()
			}
		})
		cancel()
		wantStopped(t, err)
		if list, err := here.Runs(t.Context(), store.Filter{}); err != nil || len(list) != 0 {
			t.Errorf("%d runs were kept, %v", len(list), err)
		}
	}
	r, err := here.Merge(t.Context(), there.Path(), nil)
	if must(t, err); r.Added != len(runs) {
		t.Errorf("%d runs added afterwards", r.Added)
	}
}

func wantStopped(t *testing.T, err error) {
	t.Helper()
	if !errors.Is(err, context.Canceled) || !strings.HasSuffix(err.Error(), ": stopped before the end: no run was taken over; do it again") ||
		strings.Contains(err.Error(), "\n") {
		t.Errorf("error %v", err)
	}
}
