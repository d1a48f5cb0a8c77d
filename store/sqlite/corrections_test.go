package sqlite

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// relabel is a correction of labels of a run.
func relabel(batch string, at time.Time, changes ...run.Change) run.Correction {
	return run.Correction{Batch: batch, At: at, Who: "kim", Why: "a typo", Changes: changes}
}

func workloadTo(old, text string) run.Change {
	return run.Change{What: run.FieldWorkload, Old: old, New: text}
}

func TestCorrectAllOrNone(t *testing.T) {
	s := openTest(t)
	fill(t, s, "unit-oak", 3)
	before := list(t, s)
	c := relabel("b-1", noon, workloadTo(before[0].Workload, "tile-sort-2"))
	_, err := s.CorrectAll(t.Context(), []store.RunCorrection{{Run: before[0].ID, Correction: c},
		{Run: before[1].ID, Correction: relabel("b-1", noon, workloadTo("what it never was", "tile-sort-2"))}})
	if !errors.Is(err, run.ErrChanged) {
		t.Errorf("a change that does not find what it corrects: %v", err)
	}
	if diff := cmp.Diff(before, list(t, s)); diff != "" {
		t.Errorf("part of it was kept:\n%s", diff)
	}
	must(t, s.BeginRun(t.Context(), newRun("run-now")))
	if _, err := s.Correct(t.Context(), "run-now", relabel("b-1", noon, workloadTo("tile-sort", "x"))); err == nil {
		t.Error("labels of a run that is recording were corrected")
	}
}

func list(t *testing.T, s *Store) []run.Run {
	t.Helper()
	runs, err := s.Runs(t.Context(), store.Filter{})
	must(t, err)
	return runs
}

// What was corrected is sealed, and a merge brings it along.
func TestCorrectionsAreSealedAndMerged(t *testing.T) {
	ctx := t.Context()
	a, b := openTest(t), openTest(t)
	fill(t, a, "unit-oak", 3)
	id := "unit-oak-run-001"
	before, err := a.Run(ctx, id)
	must(t, err)
	changes := []run.Change{
		workloadTo(before.Workload, "tile-sort"), {What: run.FieldSupply, Old: string(before.Supply), New: "battery"},
		{What: run.FieldSetting, Old: before.Setting.String(), New: "quiet"}, {What: run.FieldSource, Old: string(before.Setting.Source), New: "declared"},
		{What: run.FieldVariant, Old: string(before.Variant), New: "cores=8,smt=off"}, {What: run.FieldDevice, Old: before.Device, New: "unit-elm"},
		{What: run.FieldNote, Old: before.Note, New: "two\nlines"},
		{What: run.FieldResult, Name: "score", Old: run.ResultText(before.Results["score"]), New: ""},
		{What: run.FieldResult, Name: "points", Old: "", New: run.ResultText(before.Results["score"])},
	}
	got := correct(t, a, id, relabel("b-1", noon, changes...))
	if got.Cell().String() != "unit-elm, tile-sort, quiet, on battery, cores=8,smt=off" || got.Note != "two\nlines" || len(got.Results) != len(before.Results) {
		t.Errorf("%+v", got.Run)
	}
	h, err := a.History(ctx, id)
	must(t, err)
	if len(h.Corrections) != len(changes)-1 || // the setting was declared before, too
		len(h.Results) != 1 || h.Corrections[0].Who != "kim" || h.Corrections[0].Why != "a typo" {
		t.Errorf("history %+v", h)
	}
	if report, err := a.Check(ctx); err != nil || !report.Whole {
		t.Errorf("check: %+v, %v", report, err)
	}
	report, err := b.Merge(ctx, a.Path(), nil)
	must(t, err)
	there, err := b.History(ctx, id)
	must(t, err)
	if diff := cmp.Diff(h, there); diff != "" || report.Added != 3 {
		t.Errorf("%+v, history (-here +there):\n%s", report, diff)
	}
	back := make([]run.Change, len(changes))
	for i, c := range changes {
		back[i] = c.Back()
	}
	undo := relabel("b-2", noon.Add(time.Hour), back...)
	undo.Undoes = "b-1"
	after := correct(t, a, id, undo)
	if diff := cmp.Diff(before, after); diff != "" {
		t.Errorf("taken back (-before +after):\n%s", diff)
	}
	batches, err := a.Batches(ctx)
	must(t, err)
	if len(batches) != 2 || batches[0].ID != "b-1" || batches[0].Undone != "b-2" || batches[1].Undoes != "b-1" {
		t.Errorf("batches %+v", batches)
	}
	execWriter(t, a, `UPDATE corrections SET why = 'another' WHERE batch = 'b-1' AND what = 'note'`)
	if report, err := a.Check(ctx); err != nil || report.Whole {
		t.Errorf("a word of a correction was changed: %+v, %v", report, err)
	}
}

// Of two folders that both corrected a run, the later correction counts, thing by thing.
func TestMergeOfCorrections(t *testing.T) {
	ctx := t.Context()
	a, b := openTest(t), openTest(t)
	fill(t, a, "unit-oak", 2)
	_, err := b.Merge(ctx, a.Path(), nil)
	must(t, err)
	id := "unit-oak-run-001"
	before, err := a.Run(ctx, id)
	must(t, err)
	early, late := noon.Add(time.Hour), noon.Add(2*time.Hour)
	correct(t, a, id, relabel("a-1", early, workloadTo(before.Workload, "early")))
	correct(t, a, id, relabel("a-2", late, run.Change{What: run.FieldNote, Old: before.Note, New: "from a"}))
	correct(t, b, id, relabel("b-1", late, workloadTo(before.Workload, "late"), run.Change{What: run.FieldSupply, Old: string(before.Supply), New: "battery"}))
	correct(t, b, id, run.Correction{At: late, Findings: map[run.Code]*run.Finding{run.SupplyDisagrees: {Code: run.SupplyDisagrees, Severity: run.SeverityDoubt, Text: "read"}}})
	report, err := a.Merge(ctx, b.Path(), nil)
	must(t, err)
	if len(report.Conflicts) > 0 || report.Added > 0 || len(report.Corrected) != 1 || len(report.Overruled) != 1 ||
		!strings.Contains(report.Overruled[0].Differences[0], `workload: "early" here`) {
		t.Errorf("%+v", report)
	}
	d, err := a.Run(ctx, id)
	must(t, err)
	if d.Workload != "late" || d.Supply != run.Battery || d.Note != "from a" || !d.HasFinding(run.SupplyDisagrees) {
		t.Errorf("%+v", d.Run)
	}
	report, err = a.Merge(ctx, b.Path(), nil)
	must(t, err)
	if len(report.Corrected) > 0 || report.Known != 2 {
		t.Errorf("merged again: %+v", report)
	}
	report, err = b.Merge(ctx, a.Path(), nil)
	must(t, err)
	if len(report.Corrected) != 1 || len(report.Overruled) > 0 {
		t.Errorf("the other way: %+v", report)
	}
	x, err := b.Run(ctx, id)
	must(t, err)
	if diff := cmp.Diff(d, x); diff != "" {
		t.Errorf("the two differ:\n%s", diff)
	}
	// Both corrected another thing that findings depend on: nobody judged both.
	correct(t, a, id, relabel("a-3", late, run.Change{What: run.FieldSetting, Old: d.Setting.String(), New: "quiet"}))
	correct(t, b, id, relabel("b-3", late, run.Change{What: run.FieldSupply, Old: "battery", New: "mains"}))
	report, err = a.Merge(ctx, b.Path(), nil)
	must(t, err)
	if len(report.Unjudged) != 1 {
		t.Errorf("nobody judged it: %+v", report)
	}
}

// An import that was taken back is as if it had never been, and comes back by name or by
// importing again.
func TestTakenBack(t *testing.T) {
	ctx := t.Context()
	s, other := openTest(t), openTest(t)
	fill(t, s, "unit-oak", 2)
	fill(t, other, "unit-elm", 3)
	before := list(t, s)
	_, err := s.Merge(ctx, other.Path(), nil)
	must(t, err)
	merged := list(t, s)
	imports, err := s.Imports(ctx)
	must(t, err)
	last := imports[len(imports)-1]
	if last.Runs != 3 || last.Source != other.Path() || last.At.IsZero() {
		t.Fatalf("imports %+v", imports)
	}
	must(t, s.TakeBack(ctx, last.ID, true, noon))
	if diff := cmp.Diff(before, list(t, s)); diff != "" {
		t.Errorf("taken back:\n%s", diff)
	}
	if err := s.TakeBack(ctx, last.ID, true, noon); !errors.Is(err, store.ErrTakenBack) {
		t.Errorf("taken back twice: %v", err)
	}
	if err := s.TakeBack(ctx, 99, true, noon); !errors.Is(err, store.ErrNoImport) {
		t.Errorf("no such import: %v", err)
	}
	if _, err := s.Run(ctx, "unit-elm-run-000"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("a run that was taken back: %v", err)
	}
	must(t, s.TakeBack(ctx, last.ID, false, noon))
	if diff := cmp.Diff(merged, list(t, s)); diff != "" {
		t.Errorf("had back:\n%s", diff)
	}
	must(t, s.TakeBack(ctx, last.ID, true, noon))
	report, err := s.Merge(ctx, other.Path(), nil)
	must(t, err)
	if diff := cmp.Diff(merged, list(t, s)); diff != "" || report.Added != 3 {
		t.Errorf("merged again: %+v\n%s", report, diff)
	}
	if report, err := s.Check(ctx); err != nil || !report.Whole {
		t.Errorf("check: %+v, %v", report, err)
	}
	// The same with a table.
	added, _, err := s.Import(ctx, "day.csv", contract.Sequence(finished("t-1", 7), finished("t-2", 8)), nil)
	must(t, err)
	imports, err = s.Imports(ctx)
	must(t, err)
	last = imports[len(imports)-1]
	must(t, s.TakeBack(ctx, last.ID, true, noon))
	again, known, err := s.Import(ctx, "less.csv", contract.Sequence(finished("t-2", 8)), nil)
	if added != 2 || again != 1 || known != 0 || err != nil {
		t.Errorf("%d added, then %d and %d known, %v", added, again, known, err)
	}
	if _, err := s.Run(ctx, "t-2"); err != nil {
		t.Error(err)
	}
	if _, err := s.Run(ctx, "t-1"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("the row that is not there any more: %v", err)
	}
}
