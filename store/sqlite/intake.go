package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"sweepd/run"
)

// intake brings runs from elsewhere in slices that other writers pass between. The runs
// are hidden (keptRuns) until finish, so that a reader sees all of them or none.
type intake struct {
	store  *Store
	id     int64                    // in imports
	hidden map[string]bool          // ids of runs of imports that were taken back, false once they are to come back
	atEnd  []func(*runWriter) error // what is changed of runs that are here when all else is done
}

// A slice takes about sliceTime, and its commit. The pause after it lets a writer in who
// has waited since its beginning: SQLite's busy handler asks at most 25 ms apart in the
// first 128 ms, and then 100 ms (sqliteDefaultBusyCallback in main.c of SQLite), and the
// pause is longer.
const (
	sliceTime  = 60 * time.Millisecond
	sliceSoon  = 95 * time.Millisecond // within which a slice is a short one
	shortPause = 30 * time.Millisecond
	longPause  = 110 * time.Millisecond
)

// aliveFor is how long an intake is taken for alive after its last slice. The process may
// be gone without a word.
const aliveFor = 5 * time.Second

// errTaken is what an intake sees that others took for broken off.
var errTaken = errors.New("it stood still for so long that another import or merge took it for broken off: nothing was taken over; do it again")

// errUnderWay is what begins while another import or merge is under way.
var errUnderWay = errors.New("another import or merge into this file is under way: do it again when that one is done")

// newIntake begins an intake: one at a time, so that no run is left out for being in
// another that comes to nothing. It waits a while for one that may be dead, and drops
// what such a one left.
func (s *Store) newIntake(ctx context.Context) (*intake, error) {
	for patience := time.Now().Add(2 * aliveFor); ; {
		id, waiting, err := s.tryIntake(ctx)
		switch {
		case err != nil:
			return nil, err
		case !waiting:
			i := &intake{store: s, id: id, hidden: map[string]bool{}}
			return i, i.readHidden(ctx)
		case time.Now().After(patience):
			return nil, errUnderWay
		}
		if err := sleep(ctx, 100*time.Millisecond); err != nil {
			return nil, err
		}
	}
}

func (s *Store) tryIntake(ctx context.Context) (id int64, waiting bool, err error) {
	if err := s.dropBroken(ctx); err != nil {
		return 0, false, err
	}
	err = s.commitInTurn(ctx, false, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `INSERT INTO imports (done, alive_until_ms) SELECT 0, ?
			WHERE NOT EXISTS (SELECT 1 FROM imports WHERE `+underWay+`)`, time.Now().Add(aliveFor).UnixMilli())
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err != nil || n == 0 {
			waiting = true
			return err
		}
		id, err = r.LastInsertId()
		return err
	})
	return id, waiting, err
}

// slice stores a part of what comes: f stops soon after full says so.
func (i *intake) slice(ctx context.Context, f func(tx *sql.Tx, full func() bool) error) error {
	var began time.Time
	err := i.store.commitInTurn(ctx, false, func(tx *sql.Tx) error {
		began = time.Now()
		end := began.Add(sliceTime)
		if err := i.owned(tx.ExecContext(ctx, `UPDATE imports SET alive_until_ms = ? WHERE id = ? AND `+underWay,
			end.Add(aliveFor).UnixMilli(), i.id)); err != nil {
			return err
		}
		return f(tx, func() bool { return time.Now().After(end) })
	})
	if err != nil {
		return err
	}
	pause := shortPause
	if now := time.Now(); now.Sub(began) > sliceSoon {
		pause = longPause
	}
	resume := time.Now().Add(pause)
	err = i.store.checkpoint(ctx) // which lets others write
	time.Sleep(time.Until(resume))
	return err
}

func (i *intake) owned(r sql.Result, err error) error {
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return errTaken
}

// readHidden learns which runs were taken back.
func (i *intake) readHidden(ctx context.Context) error {
	return each(ctx, i.store.write, func(rows *sql.Rows) error {
		var id string
		err := rows.Scan(&id)
		i.hidden[id] = true
		return err
	}, `SELECT id FROM runs WHERE `+hiddenRuns)
}

// comesBack tells whether a run is here, but was taken back: it comes back when this
// import is done, so that one that comes to nothing changes nothing of it.
func (i *intake) comesBack(id string) bool {
	if !i.hidden[id] {
		return false
	}
	i.hidden[id] = false
	i.atEnd = append(i.atEnd, func(w *runWriter) error {
		n, _, err := runState(w.ctx, w.tx, id, hiddenRuns)
		if err != nil {
			return err
		}
		err = w.change(n, func(*run.Record) error {
			_, err := w.exec(`UPDATE runs SET import = ? WHERE n = ?`, i.id, n)
			return err
		})
		if err != nil {
			return fmt.Errorf("run %s: %w", id, err)
		}
		return nil
	})
	return true
}

// finish makes all that was stored visible, and has it on disk. It is not stopped any
// more: what is said of it must be true.
func (i *intake) finish(ctx context.Context, source string) error {
	ctx = context.WithoutCancel(ctx)
	return i.store.commitInTurn(ctx, true, func(tx *sql.Tx) error {
		err := i.owned(tx.ExecContext(ctx, `UPDATE imports SET done = 1, alive_until_ms = 0, at = ?, source = ? WHERE id = ? AND `+underWay,
			stampText(time.Now()), source, i.id))
		if err != nil {
			return err
		}
		w := newRunWriter(ctx, tx)
		for _, change := range i.atEnd {
			if err := change(w); err != nil {
				return err
			}
		}
		// One that brought nothing takes no number.
		_, err = tx.ExecContext(ctx, `DELETE FROM imports WHERE id = ? AND NOT EXISTS (SELECT 1 FROM runs WHERE import = ?)`, i.id, i.id)
		return err
	})
}

// dropBroken takes out what imports and merges left that ended without a word. One that
// is to live longer than any does is from before the clock was set back.
func (s *Store) dropBroken(ctx context.Context) error {
	var broken []int64
	now := time.Now()
	err := each(ctx, s.write, func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		broken = append(broken, id)
		return err
	}, `SELECT id FROM imports WHERE `+underWay+` AND alive_until_ms NOT BETWEEN ? AND ?`, now.UnixMilli(), now.Add(2*aliveFor).UnixMilli())
	if err != nil {
		return err
	}
	for _, id := range broken {
		if err := (&intake{store: s, id: id}).abandon(ctx); err != nil && !errors.Is(err, errTaken) {
			return fmt.Errorf("taking out what a broken import left: %w", err)
		}
	}
	return nil
}

// Tables whose rows hang on a run, and on a series.
var (
	runTables    = []string{"results", "result_history", "decisions", "corrections", "findings", "summaries", "run_checksums"}
	seriesTables = []string{"series_sensors", "series_labels", "series_checksums"}
)

// dropRuns is how many runs are taken out together, dropRows how many rows of readings.
const dropRuns = 500

// undo takes out again what was stored by an intake that fails and is still alive: its
// number is free again.
func (i *intake) undo(ctx context.Context) error {
	return i.takeOut(ctx, `DELETE FROM imports WHERE id = ?`)
}

// abandon takes out again what a broken intake stored. The row in imports stays, so that no
// other gets its id.
func (i *intake) abandon(ctx context.Context) error {
	return i.takeOut(ctx, `UPDATE imports SET done = 1, alive_until_ms = 0 WHERE id = ?`)
}

func (i *intake) takeOut(ctx context.Context, end string) error {
	for more := true; more; {
		err := i.slice(ctx, func(tx *sql.Tx, full func() bool) (err error) {
			for more && !full() {
				if more, err = dropSome(ctx, tx, "import = ?", i.id); err != nil {
					return err
				}
			}
			if more {
				return nil
			}
			_, err = tx.ExecContext(ctx, end, i.id)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// dropSome takes out some of the runs that fit, and says whether there may be more.
func dropSome(ctx context.Context, tx *sql.Tx, where string, args ...any) (more bool, err error) {
	var first, last sql.NullInt64
	err = tx.QueryRowContext(ctx, fmt.Sprintf(`SELECT min(n), max(n) FROM (SELECT n FROM runs WHERE %s ORDER BY n DESC LIMIT %d)`, where, dropRuns), args...).Scan(&first, &last)
	if err != nil || !first.Valid {
		return false, err
	}
	runs := fmt.Sprintf("(SELECT n FROM runs WHERE n BETWEEN %d AND %d AND %s)", first.Int64, last.Int64, where)
	series := "(SELECT id FROM series WHERE run IN " + runs + ")"
	exec := func(query string) (int64, error) {
		r, err := tx.ExecContext(ctx, query, args...)
		if err != nil {
			return 0, err
		}
		return r.RowsAffected()
	}
	n, err := exec(fmt.Sprintf(`DELETE FROM readings WHERE id IN (SELECT r.id FROM series s JOIN readings r
		ON r.id BETWEEN s.id << 32 AND s.id << 32 | 0xffffffff WHERE s.run IN %s LIMIT %d)`, runs, dropRows))
	if err != nil || n == dropRows {
		return true, err
	}
	for _, table := range seriesTables {
		if _, err := exec("DELETE FROM " + table + " WHERE series IN " + series); err != nil {
			return false, err
		}
	}
	for _, table := range append([]string{"series"}, runTables...) {
		if _, err := exec("DELETE FROM " + table + " WHERE run IN " + runs); err != nil {
			return false, err
		}
	}
	_, err = exec("DELETE FROM runs WHERE n IN " + runs)
	return true, err
}
