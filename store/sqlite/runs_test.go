package sqlite

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// finished is a run with a result, n minutes after noon.
func finished(id string, minutes int) run.Record {
	d := newRun(id)
	d.State, d.StartedAt, d.DurationS = run.Finished, run.Stamp(noon.Add(time.Duration(minutes)*time.Minute)), new(60.0)
	d.Results["score"] = run.Result{Value: 100 + float64(minutes), Unit: "points", Better: run.Higher}
	return d
}

func imported(t *testing.T, s *Store, runs ...run.Record) {
	t.Helper()
	added, _, err := s.Import(t.Context(), "", contract.Sequence(runs...), nil)
	must(t, err)
	if added != len(runs) {
		t.Fatalf("%d of %d runs added", added, len(runs))
	}
}

func oneResult(name string, r run.Result, at time.Time) run.Correction {
	return run.Correction{Results: map[string]run.NewResult{name: {Result: r}}, At: at}
}

func correct(t testing.TB, s *Store, id string, c run.Correction) run.Record {
	t.Helper()
	r, err := s.Correct(t.Context(), id, c)
	must(t, err)
	return r
}

func reject(why string) run.Correction {
	return run.Correction{Decision: run.Reject, Why: why, At: noon}
}

func nan() float64 { zero := 0.0; return zero / zero }

func TestImport(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	runs := manyRuns(2500)
	var steps []int
	added, known, err := s.Import(ctx, "", contract.Sequence(runs...), func(done int) { steps = append(steps, done) })
	must(t, err)
	if added != 2500 || known != 0 || !cmp.Equal(steps, []int{1000, 2000, 2500}) {
		t.Errorf("added %d, known %d, progress %v", added, known, steps)
	}
	added, known, err = s.Import(ctx, "", contract.Sequence(append(runs[:10:10], finished("one-more", 0))...), nil)
	must(t, err)
	if added != 1 || known != 10 {
		t.Errorf("again: added %d, known %d", added, known)
	}
	got, err := s.Records(ctx, store.Filter{Device: "unit-elm", Limit: 3})
	must(t, err)
	if diff := cmp.Diff([]run.Record{runs[2495], runs[2497], runs[2499]}, got); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	devices, err := s.Devices(ctx)
	must(t, err)
	if len(devices) != 2 || devices[0].Device != "unit-elm" || devices[0].Runs != 1250 || !devices[1].First.Equal(noon) {
		t.Errorf("devices %+v", devices)
	}
	bad := finished("bad", 0)
	bad.PackageW = new(nan())
	if _, _, err := s.Import(ctx, "", contract.Sequence(finished("good", 0), bad), nil); err == nil {
		t.Error("a run with NaN watts was imported")
	}
	if _, err := s.FindRun(ctx, "good"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("part of a refused import was kept: %v", err)
	}
}

// manyRuns are n finished runs of two devices, 20 settings, with two results, a
// finding in every seventh, and facts that change from day to day.
func manyRuns(n int) []run.Record {
	runs := make([]run.Record, n)
	for i := range runs {
		d := newRun(fmt.Sprintf("%08x-run", uint32(i)*2654435761)) // not in order
		d.Device = []string{"unit-oak", "unit-elm"}[i%2]
		d.Setting = declaredWatts(float64(6 + i/2%20))
		d.State = run.Finished
		d.StartedAt = run.Stamp(noon.Add(time.Duration(i) * 3 * time.Minute))
		duration, package_ := 120.0+float64(i%7)/8, 10.0+float64(i%13)
		d.DurationS, d.PackageW = &duration, &package_
		d.Results["fps_mean"] = run.Result{Value: 60 + float64(i%17)/16, Unit: "fps", Better: run.Higher}
		d.Results["score"] = run.Result{Value: 1000 + float64(i%31), Better: run.Higher}
		if i%7 == 0 {
			d.Findings = append(d.Findings, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "62 C, baseline 41 C"})
			run.Advise(d.Findings)
		}
		d.Facts = map[string]string{}
		for f := range 20 {
			d.Facts[fmt.Sprintf("fact_%02d", f)] = "the same for all"
		}
		d.Facts["battery_cycles"] = fmt.Sprint(i / 300)
		runs[i] = d
	}
	return runs
}
