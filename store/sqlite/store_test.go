package sqlite

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"
	"time"

	"sweepd/run"
)

// openTest opens a store in a fresh folder and checks the file at the end.
func openTest(t testing.TB) *Store {
	t.Helper()
	return openAt(t, t.TempDir())
}

func openAt(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
		checkIntegrity(t, s.Path())
	})
	return s
}

// checkIntegrity asks SQLite whether the file is sound.
func checkIntegrity(t testing.TB, path string) {
	t.Helper()
	if _, err := os.Stat(path); err != nil {
		return // the test took it away
	}
	db, err := sql.Open("sqlite", dsn(path, "mode=ro"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var verdict string
	if err := db.QueryRow("PRAGMA integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		t.Errorf("integrity_check of %s: %q, %v", path, verdict, err)
	}
	rows, err := db.Query("PRAGMA foreign_key_check")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	if rows.Next() {
		t.Errorf("foreign_key_check of %s found a row without its parent", path)
	}
}

var noon = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

func declaredWatts(w float64) run.SourcedSetting { return run.Watts(w).From(run.Declared) }

func newRun(id string) run.Record {
	return run.Record{Run: run.Run{
		ID:        id,
		Labels:    run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: declaredWatts(25), Supply: run.Mains, Variant: "cores=6"},
		State:     run.Recording,
		StartedAt: run.Stamp(noon),
		Results:   map[string]run.Result{},
		Findings:  []run.Finding{},
		Facts:     map[string]string{"kernel": "6.1"},
	}, Summaries: []run.Summary{}}
}

func TestOpenCloseOpen(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "folder #1, 100% & more")
	s := openAt(t, dir)
	if err := s.BeginRun(t.Context(), newRun("run-0001")); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again := openAt(t, dir)
	d, err := again.Run(t.Context(), "last")
	if err != nil || d.ID != "run-0001" || d.Facts["kernel"] != "6.1" {
		t.Fatalf("got %+v, %v", d, err)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
