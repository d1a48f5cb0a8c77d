package sqlite

import (
	"errors"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// A trimmed run merges with its history, and what says so is sealed.
func TestTrimmedRun(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	d := run.Record{LoadEndS: new(20.5), Summaries: []run.Summary{{Sensor: run.PackagePower, Unit: "watts", Mean: new(8.2), LoadMean: new(14.9)}}}
	d.ID, d.Device, d.Workload, d.State, d.Supply = "0001-tail", "unit-oak", "tile-sort", run.Finished, run.Battery
	d.StartedAt, d.DurationS, d.PackageW, d.Discharge = run.Stamp(noon), new(40.25), new(8.2), &run.Discharge{Watts: new(12.0), UncertaintyWatts: new(0.5)}
	d.Findings = []run.Finding{d.IdleTailFinding("")}
	other := run.Record{Run: run.Run{ID: "0002-plain", Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort"}, State: run.Finished}}
	_, _, err := s.Import(ctx, "", func(yield func(*run.Record, error) bool) { _ = yield(&d, nil) && yield(&other, nil) }, nil)
	must(t, err)
	if got, err := s.Run(ctx, d.ID); err != nil || got.PackageW != nil || got.SystemW != nil || *got.LoadEndS != 20.5 || *got.Summaries[0].LoadMean != 14.9 || got.WholeS != nil {
		t.Errorf("not decided: %+v, %v", got, err)
	}
	decided := d.IdleTailFinding("its watts are those up to 20.5 s")
	trim := run.Correction{Decision: run.Trim, Why: "a menu", At: noon.Add(time.Hour), Findings: map[run.Code]*run.Finding{decided.Code: &decided},
		Trimming: &run.Trimming{EndS: 20.5, PackageW: new(14.9), SystemW: new(21.0), Discharge: &run.Discharge{Watts: new(21.0), UncertaintyWatts: new(0.5)}}}
	got, err := s.Correct(ctx, d.ID, trim)
	if err != nil || *got.PackageW != 14.9 || *got.SystemW != 21 || *got.DurationS != 20.5 || *got.WholeS != 40.25 || got.TailUndecided() {
		t.Fatalf("%+v, %v", got, err)
	}
	_, err = s.Correct(ctx, "0002-plain", run.Correction{Decision: run.Untrim, Trimming: &run.Trimming{EndS: 1}, At: noon})
	if !errors.Is(err, store.ErrNotTrimmed) {
		t.Errorf("nothing to take back: %v", err)
	}
	if _, err = s.Correct(ctx, d.ID, run.Correction{Decision: run.Trim, At: noon}); err == nil {
		t.Error("a trimming to nowhere")
	}
	must(t, s.Close())

	there := openTest(t)
	report, err := there.Merge(ctx, s.Path(), nil)
	if err != nil || report.Added != 2 {
		t.Fatalf("%+v, %v", report, err)
	}
	merged, err := there.Run(ctx, d.ID)
	must(t, err)
	if !reflect.DeepEqual(merged, got) {
		t.Errorf("merged %+v, want %+v", merged, got)
	}
	h, err := there.History(ctx, d.ID)
	must(t, err)
	want := []store.Decided{{At: run.Stamp(noon.Add(time.Hour)), What: run.Trim, Who: "user", Why: "a menu"}}
	if !reflect.DeepEqual(h.Decisions, want) {
		t.Errorf("history %+v, want %+v", h.Decisions, want)
	}
	must(t, there.Close())

	for _, change := range []string{`UPDATE runs SET whole_s = 41 WHERE id = '0001-tail'`, `UPDATE runs SET whole_s = NULL WHERE id = '0001-tail'`,
		`UPDATE runs SET load_end_s = 3 WHERE id = '0001-tail'`, `UPDATE runs SET load_end_s = 3 WHERE id = '0002-plain'`, `UPDATE summaries SET load_mean = 15`,
		`UPDATE summaries SET load_mean = NULL`, `DELETE FROM decisions`} {
		copied := filepath.Join(t.TempDir(), FileName)
		copyFile(t, s.Path(), copied)
		execOn(t, copied, change)
		s := openAt(t, copied)
		if r, err := s.Check(ctx); err != nil || r.Whole {
			t.Errorf("%s: %+v, %v", change, r, err)
		}
		must(t, s.Close())
	}
}
