package sqlite

import (
	"testing"

	"sweepd/run"
	"sweepd/store"
)

// What older versions stored of a run that says nothing is read as today's, and merged so.
func TestWeakRunsOfOlderVersions(t *testing.T) {
	const weaken = `UPDATE runs SET supply = 'battery', system_w = 12, discharge_w = 12, discharge_uncertainty_w = 7 WHERE n = 1`
	path := oldFile(t, weaken)
	old, err := Open(path, Options{ReadOnly: true})
	must(t, err)
	defer old.Close()
	here, err := Open(t.TempDir(), Options{})
	must(t, err)
	defer here.Close()
	if _, err := here.Merge(t.Context(), path, nil); err != nil {
		t.Fatal(err)
	}
	for _, s := range []*Store{old, here} {
		runs, err := s.Runs(t.Context(), store.Filter{Supply: run.Battery})
		must(t, err)
		if len(runs) == 0 || runs[0].ID != "unit-oak-run-000" || runs[0].SystemW != nil {
			t.Errorf("%s: %+v", s.Path(), runs)
		}
	}
	again, err := here.Merge(t.Context(), path, nil)
	if must(t, err); again.Added != 0 || len(again.Conflicts) != 0 {
		t.Errorf("merged again: %+v", again)
	}
}
