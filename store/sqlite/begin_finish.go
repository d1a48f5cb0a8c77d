package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// BeginRun stores a run that is being recorded, see store.Recorder.
func (s *Store) BeginRun(ctx context.Context, r run.Record) error {
	if r.State != run.Recording {
		return s.fail("beginning a run in", fmt.Errorf("run %s is %q, want %q", r.ID, r.State, run.Recording))
	}
	return s.fail("beginning a run in", s.commit(ctx, true, func(tx *sql.Tx) error {
		added, err := newRunWriter(ctx, tx).add(&r)
		if err == nil && !added {
			err = fmt.Errorf("run %s exists already", r.ID)
		}
		return err
	}))
}

// FinishRun stores a judged run, see store.Recorder.
func (s *Store) FinishRun(ctx context.Context, r run.Record) error {
	return s.fail("finishing a run in", s.commit(ctx, true, func(tx *sql.Tx) error {
		return finishRun(newRunWriter(ctx, tx), &r)
	}))
}

func finishRun(w *runWriter, r *run.Record) error {
	if r.State == run.Recording {
		return fmt.Errorf("run %s is still %q: want it judged", r.ID, r.State)
	}
	if err := r.Check(); err != nil {
		return err
	}
	n, state, err := runState(w.ctx, w.tx, r.ID, keptRuns)
	if err != nil {
		return err
	}
	if state != run.Recording {
		return fmt.Errorf("run %s is %s already: %w", r.ID, state, run.ErrEnded)
	}
	return w.change(n, func(*run.Record) error { return finish(w, n, r) })
}

func finish(w *runWriter, n int64, r *run.Record) error {
	facts, _, err := w.factSet(r.Facts)
	if err != nil {
		return err
	}
	if facts == nil {
		if err := w.tx.QueryRowContext(w.ctx, `SELECT fact_set FROM runs WHERE n = ?`, n).Scan(&facts); err != nil {
			return err
		}
	}
	if _, err := w.exec(updateRun, append(runValues(r, facts), n)...); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(r.Results)) {
		if err := w.setResultAtEnd(n, name, r.Results[name], ended(r)); err != nil {
			return err
		}
	}
	if err := w.replaceParts(n, r); err != nil {
		return err
	}
	if r.State == run.Rejected {
		if err := w.decide(n, ended(r), run.Reject, "finding", r.Why); err != nil {
			return err
		}
	}
	if err := closeSeries(w.ctx, w.tx, `SELECT id FROM series WHERE run = ?`, n); err != nil {
		return err
	}
	return w.dropResultMissing(n)
}

// setResultAtEnd stores a result that was given when the run ended. One that was given
// later stays, and this one goes to the history.
func (w *runWriter) setResultAtEnd(n int64, name string, r run.Result, at time.Time) error {
	var later string
	err := w.tx.QueryRowContext(w.ctx, `SELECT set_at FROM results WHERE run = ? AND name = ? AND set_at > ?`, n, name, stampText(at)).Scan(&later)
	if errors.Is(err, sql.ErrNoRows) {
		return w.setResult(n, name, run.NewResult{Result: r}, at)
	}
	if err != nil {
		return err
	}
	_, err = w.exec(`INSERT INTO result_history (run, name, value, unit, better, set_at, replaced_at) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		n, name, r.Value, r.Unit, string(r.Better), stampText(at), later)
	return err
}

// Unfinished are the runs that a crash left recording. One agent at a time records into
// a file (LockAgent), so they are all this device's, whatever it was called then.
func (s *Store) Unfinished(ctx context.Context, _ string) ([]run.Record, error) {
	left, err := s.Records(ctx, store.Filter{State: run.Recording})
	// Damaged ones come with any filter; they are nobody's to end.
	return slices.DeleteFunc(left, func(r run.Record) bool { return r.State != run.Recording }), err
}

// runState finds a run by its full id among those that are there: its n and its state.
func runState(ctx context.Context, q queryer, id, kept string) (n int64, state run.State, err error) {
	var found string // in the table itself: a damaged index may lead to another run
	err = q.QueryRowContext(ctx, `SELECT n, state, (SELECT id FROM runs x NOT INDEXED WHERE x.n = runs.n) FROM runs WHERE id = ? AND `+kept, id).
		Scan(&n, (*string)(&state), &found)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		err = fmt.Errorf("run %s: %w", id, run.ErrNoRun)
	case err == nil && found != id:
		err = fmt.Errorf("run %s: %w: the index of runs", id, ErrDamaged)
	}
	return n, state, err
}
