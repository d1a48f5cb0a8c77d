package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// rowsOf counts the rows of a table or view.
func rowsOf(t *testing.T, s *Store, table string) (n int) {
	t.Helper()
	must(t, s.read.QueryRow("SELECT count(*) FROM "+table).Scan(&n))
	return n
}

// halfAnIntake is an import that ends without a word after one slice: that of runs
// with all that hangs on them, readings too.
func halfAnIntake(t *testing.T, s *Store, runs ...run.Record) *intake {
	t.Helper()
	in, err := s.newIntake(t.Context())
	must(t, err)
	must(t, in.slice(t.Context(), func(tx *sql.Tx, _ func() bool) error {
		i, err := newRunInserter(newRunWriter(t.Context(), tx), in.id)
		if err != nil {
			return err
		}
		for j := range runs {
			if err := i.put(&runs[j]); err != nil {
				return err
			}
		}
		return i.flush()
	}))
	for j := range runs {
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: runs[j].ID, Sensors: []run.Sensor{{ID: "x", Resolution: 1}}, Sweeps: []run.Sweep{quarter(0, 1)}}))
	}
	return in
}

// Nothing of an import is there before all of it is: not for a reader of the store, nor
// in the views for others.
func TestHalfAnImportIsNotThere(t *testing.T) {
	s := openTest(t)
	must(t, s.BeginRun(t.Context(), newRun("run-own")))
	half := everything("run-half")
	in := halfAnIntake(t, s, half)

	runs, err := s.Runs(t.Context(), store.Filter{})
	must(t, err)
	_, skipped, err := s.AnalysisRuns(t.Context(), store.Filter{})
	must(t, err)
	devices, err := s.Devices(t.Context())
	must(t, err)
	if len(runs) != 1 || skipped.Rejected != 0 || devices[0].Runs != 1 {
		t.Errorf("%d runs, %+v, devices %+v", len(runs), skipped, devices)
	}
	for what, err := range map[string]error{
		"find":    second(s.FindRun(t.Context(), half.ID)),
		"trace":   second(s.Trace(t.Context(), half.ID)),
		"history": second(s.History(t.Context(), half.ID)),
		"correct": second(s.Correct(t.Context(), half.ID, reject("odd"))),
	} {
		if !errors.Is(err, run.ErrNoRun) {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, view := range []string{"result_table", "finding_table", "summary_table", "reading_rows"} {
		if n := rowsOf(t, s, view); n != 0 {
			t.Errorf("%s has %d rows", view, n)
		}
	}
	if a, b := rowsOf(t, s, "run_table"), rowsOf(t, s, "fact_table"); a != 1 || b != 1 {
		t.Errorf("%d runs, %d facts in the views", a, b)
	}
	must(t, in.finish(t.Context(), ""))
	if rowsOf(t, s, "run_table") != 2 || rowsOf(t, s, "reading_rows") != 1 {
		t.Error("not there after it is done")
	}
}

func second[T any](_ T, err error) error { return err }

// What a broken import left goes with the next import, and with the upkeep; one that is
// alive is let alone.
func TestBrokenImportsAreDropped(t *testing.T) {
	for _, way := range []string{"import", "upkeep"} {
		s := openTest(t)
		many := manyRuns(dropRuns + 100)
		many[3] = everything(many[3].ID)
		halfAnIntake(t, s, many...)
		// As after its last slice, however long that is ago on a busy machine.
		execWriter(t, s, fmt.Sprintf("UPDATE imports SET alive_until_ms = %d", time.Now().Add(aliveFor).UnixMilli()))
		must(t, s.Upkeep(t.Context(), 0, noon))
		if rowsOf(t, s, "runs") != len(many) {
			t.Error("an import that is alive was dropped")
		}
		execWriter(t, s, "UPDATE imports SET alive_until_ms = 1")
		want := 0
		if way == "upkeep" {
			must(t, s.Upkeep(t.Context(), 0, noon))
		} else {
			want = 1
			added, known, err := s.Import(t.Context(), "", contract.Sequence(many[3]), nil)
			if must(t, err); added != 1 || known != 0 {
				t.Errorf("%d added, %d known", added, known)
			}
		}
		for _, table := range []string{"runs", "imports WHERE id > 1"} {
			if n := rowsOf(t, s, table); n != want {
				t.Errorf("%s: %d rows of %s are left, want %d", way, n, table, want)
			}
		}
		if rowsOf(t, s, "readings") != 0 || rowsOf(t, s, "series") != 0 {
			t.Errorf("%s: readings are left", way)
		}
	}
}

// One at a time; and who was taken for dead learns it instead of leaving half.
func TestIntakesTakeTurns(t *testing.T) {
	s := openTest(t)
	in := halfAnIntake(t, s, finished("run-half", 0))
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	if _, err := s.newIntake(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a second one while the first is alive: %v", err)
	}
	execWriter(t, s, fmt.Sprintf("UPDATE imports SET alive_until_ms = %d", time.Now().Add(time.Hour).UnixMilli())) // the clock was set back
	other, err := s.newIntake(t.Context())
	must(t, err)
	nothing := func(*sql.Tx, func() bool) error { return nil }
	if err := in.slice(t.Context(), nothing); !errors.Is(err, errTaken) {
		t.Errorf("a slice of one that was dropped: %v", err)
	}
	if err := in.finish(t.Context(), ""); !errors.Is(err, errTaken) {
		t.Errorf("finishing one that was dropped: %v", err)
	}
	must(t, other.finish(t.Context(), ""))
	if rowsOf(t, s, "runs") != 0 {
		t.Error("runs of the dropped one are there")
	}
}

// An import outwaits a writer that has the lock for longer than SQLite waits, and may be
// ended meanwhile.
func TestIntakeWaitsItsTurn(t *testing.T) {
	held := 10500 * time.Millisecond // over busyTimeout
	if testing.Short() {
		held = 300 * time.Millisecond
	}
	s := openTest(t)
	other, err := Open(s.Path(), Options{})
	must(t, err)
	defer other.Close()
	tx, err := other.write.Begin()
	must(t, err)
	defer tx.Rollback()
	impatient, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if _, _, err := s.Import(impatient, "", contract.Sequence(manyRuns(10)...), nil); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("given up while it waits: %v", err)
	}
	time.AfterFunc(held, func() { tx.Rollback() })
	began := time.Now()
	added, _, err := s.Import(t.Context(), "", contract.Sequence(manyRuns(10)...), nil)
	if must(t, err); added != 10 {
		t.Errorf("%d added, want 10", added)
	}
	if took := time.Since(began); took < held {
		t.Errorf("it took %v while another had the lock for %v", took, held)
	}
	var timeout string
	if must(t, s.write.QueryRow("PRAGMA busy_timeout").Scan(&timeout)); timeout != busyTimeout {
		t.Errorf("busy_timeout is left at %s, want %s", timeout, busyTimeout)
	}
}

// Writers pass between the slices of an import, and do not wait long.
func TestWritersPassBetweenSlices(t *testing.T) {
	importer := openTest(t)
	agent, err := Open(importer.Path(), Options{})
	must(t, err)
	defer agent.Close()
	rows := 12000
	if testing.Short() {
		rows = 6000
	}
	done := make(chan error, 1)
	go func() {
		_, _, err := importer.Import(t.Context(), "", contract.Sequence(manyRuns(rows)...), nil)
		done <- err
	}()
	var longest time.Duration
	passed := 0
	for i := 0; ; i++ {
		select {
		case err := <-done:
			must(t, err)
			t.Logf("%d rows: %d stops passed, the longest waited %v", rows, passed, longest)
			if passed < 3 {
				t.Errorf("%d stops passed while %d rows were imported, want 3 at least", passed, rows)
			}
			return
		default:
		}
		d := newRun(fmt.Sprintf("run-%04d", i))
		must(t, agent.BeginRun(t.Context(), d))
		d.State = run.Finished
		began := time.Now()
		must(t, agent.FinishRun(t.Context(), d))
		if took := time.Since(began); took > longest {
			longest = took
		}
		if rowsOf(t, agent, "imports WHERE NOT done") == 1 {
			passed++
		}
	}
}

// What is being made visible becomes visible, and is told so, when a signal comes then.
func TestFinishIsNotStopped(t *testing.T) {
	s := openTest(t)
	in, err := s.newIntake(t.Context())
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	must(t, in.finish(ctx, ""))
}
