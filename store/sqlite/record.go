package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"

	"sweepd/run"
	"sweepd/store"
)

// BeginRun stores a run in state recording; it is on disk when BeginRun
// returns.
func (s *Store) BeginRun(ctx context.Context, d run.Record) error {
	if d.State != run.Recording {
		return s.fail("beginning a run in", fmt.Errorf("run %s is %q, want %q", d.ID, d.State, run.Recording))
	}
	return s.fail("beginning a run in", s.commit(ctx, true, func(tx *sql.Tx) error {
		added, err := newRunWriter(ctx, tx).add(&d)
		if err == nil && !added {
			err = fmt.Errorf("run %s exists already", d.ID)
		}
		return err
	}))
}

// FinishRun stores a judged run; it is on disk when FinishRun returns. Results
// stored meanwhile stay unless d has one of the same name, and with any result
// there is no finding that one is missing. Facts stay where d has none.
func (s *Store) FinishRun(ctx context.Context, d run.Record) error {
	return s.fail("finishing a run in", s.commit(ctx, true, func(tx *sql.Tx) error {
		return finishRun(newRunWriter(ctx, tx), &d)
	}))
}

func finishRun(w *runWriter, d *run.Record) error {
	if d.State == run.Recording {
		return fmt.Errorf("run %s is still %q: want it judged", d.ID, d.State)
	}
	if err := d.Check(); err != nil {
		return err
	}
	n, state, err := runState(w.ctx, w.tx, d.ID)
	if err != nil {
		return err
	}
	if state != run.Recording {
		return fmt.Errorf("run %s is %s already", d.ID, state)
	}
	facts, err := w.factSet(d.Facts)
	if err != nil {
		return err
	}
	if facts == nil {
		if err := w.tx.QueryRowContext(w.ctx, `SELECT fact_set FROM runs WHERE n = ?`, n).Scan(&facts); err != nil {
			return err
		}
	}
	if _, err := w.exec(updateRun, append(runValues(d, facts), n)...); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(d.Results)) {
		if err := w.setResult(n, name, run.NewResult{Result: d.Results[name]}, ended(d)); err != nil {
			return err
		}
	}
	if err := w.replaceParts(n, d); err != nil {
		return err
	}
	if d.State == run.Rejected {
		if err := w.decide(n, ended(d), run.Reject, "finding", d.Why); err != nil {
			return err
		}
	}
	return w.dropResultMissing(n)
}

// Unfinished are the runs that a crash left recording. One agent at a time records into
// a file (LockAgent), so they are all this device's, whatever it was called then.
func (s *Store) Unfinished(ctx context.Context, _ string) ([]run.Record, error) {
	return s.Records(ctx, store.Filter{State: run.Recording})
}

// runState finds a run by its full id.
func runState(ctx context.Context, q queryer, id string) (n int64, state run.State, err error) {
	err = q.QueryRowContext(ctx, `SELECT n, state FROM runs WHERE id = ?`, id).Scan(&n, (*string)(&state))
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("run %s: %w", id, run.ErrNoRun)
	}
	return n, state, err
}
