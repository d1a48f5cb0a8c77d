package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// wantSentence checks that an error names the path and says what to do.
func wantSentence(t *testing.T, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Fatalf("no error, want one with %q", parts)
	}
	for _, part := range parts {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("error %q does not say %q", err, part)
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	must(t, os.WriteFile(text, []byte(strings.Repeat("device,workload\n", 100)), 0o644))
	empty := filepath.Join(dir, "folder")
	must(t, os.Mkdir(empty, 0o755))
	foreign := filepath.Join(dir, "foreign.db")
	execOn(t, foreign, "CREATE TABLE notes (text)")

	_, err := Open(text, Options{})
	wantSentence(t, err, text, "not a database", "move it away")
	_, err = Open(text, Options{ReadOnly: true})
	wantSentence(t, err, text, "not a database")
	_, err = Open(empty, Options{ReadOnly: true})
	wantSentence(t, err, empty, "no data yet", "--data")
	if !errors.Is(err, ErrNoData) {
		t.Error("not ErrNoData")
	}
	_, err = Open(foreign, Options{})
	wantSentence(t, err, foreign, "another program")
	if !errors.Is(err, ErrNotOurs) {
		t.Error("not ErrNotOurs")
	}
	_, err = Open(filepath.Join(text, "below"), Options{})
	wantSentence(t, err, text+" is a file", "not a directory", "--data")
	_, err = Open(filepath.Join(text, "below"), Options{ReadOnly: true})
	wantSentence(t, err, text, "--data")
	_, err = Open("", Options{})
	wantSentence(t, err, "no folder")
	if _, err := os.Stat(filepath.Join(empty, FileName)); err == nil {
		t.Error("opening for reading made a file")
	}
}

func execOn(t *testing.T, path, query string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	must(t, err)
	_, err = db.Exec(query)
	must(t, errors.Join(err, db.Close()))
}

func TestNewerSchemaIsRefused(t *testing.T) {
	s := openTest(t)
	must(t, s.Close())
	execOn(t, s.Path(), fmt.Sprintf("PRAGMA user_version = %d", Version+1))
	for _, readOnly := range []bool{false, true} {
		_, err := Open(s.Path(), Options{ReadOnly: readOnly})
		if !errors.Is(err, ErrNewerSchema) {
			t.Errorf("read-only %v: %v", readOnly, err)
		}
		wantSentence(t, err, s.Path(), "install that version")
	}
	execOn(t, s.Path(), fmt.Sprintf("PRAGMA user_version = %d", Version))
}

var update = flag.Bool("update", false, "rewrite the fixture of the present schema, while it is not released")

// updateFixture writes testdata/versionN.db for the present version.
func updateFixture(t *testing.T) {
	s := openTest(t)
	fill(t, s, "unit-oak", 2)
	must(t, s.Upkeep(t.Context(), 0, noon))
	must(t, s.Close())
	data, err := os.ReadFile(s.Path())
	must(t, err)
	must(t, os.WriteFile(fmt.Sprintf("testdata/version%d.db", Version), data, 0o644))
}

// A file of every version that ever was opens, and then has the schema of a
// new file.
func TestOldFilesOpen(t *testing.T) {
	if *update {
		updateFixture(t)
	}
	fresh := openTest(t)
	for v := 1; v <= Version; v++ {
		data, err := os.ReadFile(fmt.Sprintf("testdata/version%d.db", v))
		must(t, err)
		path := filepath.Join(t.TempDir(), FileName)
		must(t, os.WriteFile(path, data, 0o644))
		s := openAt(t, path)
		if got, want := schemaOf(t, s), schemaOf(t, fresh); got != want {
			t.Errorf("version %d becomes\n%s\nwant\n%s", v, got, want)
		}
		d, err := s.Run(t.Context(), "unit-oak-run-001")
		must(t, err)
		if d.Results["score"].Value != 1 || d.Facts["device"] != "unit-oak" {
			t.Errorf("version %d: run %+v", v, d)
		}
		// fill gives sweep n of the run the values 105+n and 0.5, so the sum of
		// (105+n)n + 0.5(n+1) over n = 1..100.
		trace, err := s.Trace(t.Context(), d.ID)
		if n, total := sum(t, trace, err); n != 100 || total != 871175 {
			t.Errorf("version %d: %d sweeps with sum %v", v, n, total)
		}
	}
}

func schemaOf(t *testing.T, s *Store) string {
	t.Helper()
	var all sql.NullString
	must(t, s.read.QueryRow(`SELECT group_concat(sql, ';' || char(10)) FROM (SELECT sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_stat%' ORDER BY type, name)`).Scan(&all))
	return spaces.ReplaceAllString(all.String, "")
}

// A full disk is told, and what was stored before is still there. The page
// limit makes SQLite fail just as a full disk does.
func TestDiskFull(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	must(t, s.BeginRun(ctx, newRun("run-0001")))
	execWriter(t, s, "PRAGMA max_page_count = 60")
	sensors := make([]run.Sensor, 40) // no resolution: bulky
	values := make([]float64, 40)
	rng := rand.New(rand.NewPCG(1, 1))
	stored := 0
	var err error
	for ; err == nil && stored < 1000; stored++ {
		for i := range values {
			values[i] = rng.Float64()
		}
		err = s.Append(ctx, run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: sensors, Sweeps: []run.Sweep{quarter(stored, values...)}})
	}
	stored--
	wantSentence(t, err, s.Path(), "disk is full", "make room")
	execWriter(t, s, "PRAGMA max_page_count = 100000")
	must(t, s.Append(ctx, run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: sensors, Sweeps: []run.Sweep{quarter(stored, values...)}}))
	trace, err := s.Trace(ctx, "run-0001")
	if n, _ := sum(t, trace, err); n != stored+1 {
		t.Errorf("%d sweeps, want %d", n, stored+1)
	}
}

func execWriter(t *testing.T, s *Store, query string) {
	t.Helper()
	_, err := s.write.Exec(query)
	must(t, err)
}

func TestAgentLock(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	lock, err := LockAgent(dir)
	must(t, err)
	_, err = LockAgent(dir)
	wantSentence(t, err, fmt.Sprintf("another agent (pid %d) is using %s", os.Getpid(), dir))
	must(t, lock.Release())
	must(t, lock.Release())
	again, err := LockAgent(dir)
	must(t, err)
	must(t, again.Release())
}

func TestCloseTwice(t *testing.T) {
	s := openTest(t)
	must(t, s.Close())
	must(t, s.Close())
	if s.Append(t.Context(), run.Batch{Sweeps: []run.Sweep{quarter(0)}}) == nil {
		t.Error("Append after Close: no error")
	}
}

// Reading goes on while an agent records: through the same store and through
// another one, as commands do, also while a third process imports.
func TestReadersBesideAWriter(t *testing.T) {
	s := openTest(t)
	must(t, s.BeginRun(t.Context(), newRun("run-0001")))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	other, err := Open(s.Path(), Options{ReadOnly: true})
	must(t, err)
	defer other.Close()
	importer, err := Open(s.Path(), Options{})
	must(t, err)
	defer importer.Close()

	var group sync.WaitGroup
	for _, r := range []*Store{s, other} {
		group.Go(func() {
			for n := 0; ctx.Err() == nil; {
				trace, err := r.Trace(t.Context(), "run-0001")
				if err != nil {
					t.Error(err)
					return
				}
				seen := 0
				if err := trace.Each(func(x run.Sweep) error {
					if x.Values[0] != float64(seen) {
						return fmt.Errorf("sweep %d has value %v", seen, x.Values[0])
					}
					seen++
					return nil
				}); err != nil || seen < n {
					t.Errorf("%d sweeps after %d: %v", seen, n, err)
					return
				}
				n = seen
				if _, err := r.Runs(t.Context(), store.Filter{}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Go(func() {
		if _, _, err := importer.Import(t.Context(), "", contract.Sequence(manyRuns(500)...), nil); err != nil {
			t.Error(err)
		}
	})
	for i := range 300 {
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-0001",
			Sensors: []run.Sensor{{ID: "x", Resolution: 1}}, Sweeps: []run.Sweep{quarter(i, float64(i))}}))
	}
	cancel()
	group.Wait()
}

// What SQLite reports leads to what a person can do (result codes as at
// https://sqlite.org/rescode.html; extended codes carry more above the lowest byte).
func TestRemedies(t *testing.T) {
	for code, want := range map[int]string{
		13: "make room", 8: "must be writable", 3: "must be writable", 14: "must be writable", 23: "must be writable", 14 | 2<<8: "must be writable",
		26: "not a data file of sweepd", 11: "is damaged", 5: "another process is writing", 6: "another process is writing", 5 | 2<<8: "another process is writing",
		10: "see the system's log", 10 | 13<<8: "see the system's log",
	} {
		if got := remedyByCode(code); !strings.Contains(got, want) {
			t.Errorf("code %d: %q, want %q", code, got, want)
		}
	}
	if got := remedyByCode(1); got != "" {
		t.Errorf("an error in SQL: %q, want no remedy", got)
	}
}

// The examples of https://sqlite.org/uri.html, 3.1.
func TestFileURI(t *testing.T) {
	for path, want := range map[string]string{
		"/home/fred/data.db":                             "file:///home/fred/data.db",
		"C:/Documents and Settings/fred/Desktop/data.db": "file:///C:/Documents%20and%20Settings/fred/Desktop/data.db",
		"/folder #1/100% & more?.db":                     "file:///folder%20%231/100%25%20&%20more%3F.db",
	} {
		if got := fileURI(path); got != want {
			t.Errorf("%s: %s, want %s", path, got, want)
		}
	}
}

// A pragma that does not take is no silent one.
func TestPragmasAreReadBack(t *testing.T) {
	s := openTest(t)
	db, err := openPool(dsn(s.Path(), "mode=ro"), []pragma{{"cache_size", "-256", "-257"}}, nil)
	must(t, err)
	defer db.Close()
	wantSentence(t, db.PingContext(t.Context()), `cache_size is "-256", want "-257"`, "does not support it")
}

// Many old rows go in several transactions, all the same.
func TestUpkeepDropsManyRows(t *testing.T) {
	s, err := Open(t.TempDir(), Options{Unsynced: true})
	must(t, err)
	defer s.Close()
	const rows = 2*dropRows + 100
	for i := range rows {
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", Sensors: []run.Sensor{{ID: "x", Resolution: 1}}, Sweeps: []run.Sweep{quarter(i, float64(i))}}))
	}
	// The last row stays for what an agent may add, and the rows that it goes on from.
	must(t, s.Upkeep(t.Context(), time.Nanosecond, quarter(rows, 0).At.Wall.Add(time.Hour)))
	trace, err := s.IdleSweeps(t.Context(), "unit-oak", noon)
	if n, _ := sum(t, trace, err); n == 0 || n > keyEvery {
		t.Errorf("%d of %d sweeps are left, want 1 to %d", n, rows, keyEvery)
	}
}

func TestUpkeep(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	fill(t, s, "unit-oak", 3)
	last := quarter(1000)
	must(t, s.Upkeep(ctx, 0, last.At.Wall))
	trace, err := s.IdleSweeps(ctx, "unit-oak", noon)
	if n, _ := sum(t, trace, err); n != 12 {
		t.Errorf("%d idle sweeps, want all 12", n)
	}
	// fill writes 3 idle sweeps, then 100 of a run, and so on. The second three
	// go on from one that is older than the cut.
	cut := quarter(104).At.Wall
	must(t, s.Upkeep(ctx, last.At.Wall.Sub(cut), last.At.Wall))
	trace, err = s.IdleSweeps(ctx, "unit-oak", noon)
	if n, _ := sum(t, trace, err); n != 9 {
		t.Errorf("%d idle sweeps, want the last 9", n)
	}
	// The last series stays: an agent may be writing to it.
	must(t, s.Upkeep(ctx, 1, last.At.Wall))
	must(t, s.Append(ctx, run.Batch{Device: "unit-oak", Sensors: trace.Sensors(), Sweeps: []run.Sweep{quarter(1001, 1, 1)}}))
	trace, err = s.IdleSweeps(ctx, "unit-oak", noon)
	if n, _ := sum(t, trace, err); n != 4 {
		t.Errorf("%d idle sweeps, want 4", n)
	}
	trace, err = s.Trace(ctx, "unit-oak-run-000")
	if n, _ := sum(t, trace, err); n != 100 {
		t.Errorf("%d sweeps of a run, want 100", n)
	}
}
