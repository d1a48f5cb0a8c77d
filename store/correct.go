package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"sweepd/run"
)

// SetResult adds a result to a run or corrects one; the old value goes to the
// history. A finding that results are missing goes too. id is a full one.
func (s *Store) SetResult(ctx context.Context, id, name string, r run.Result, now time.Time) error {
	if err := checkResult(name, r); err != nil {
		return err
	}
	return s.change(ctx, "storing a result in", id, func(w *runWriter, n int64, _ run.State) error {
		if err := w.setResult(n, name, r, now); err != nil {
			return err
		}
		return w.dropResultMissing(n)
	})
}

// Reject sets a run aside: the analysis leaves it out. Rejecting it again gives
// it another reason. ErrRecording while it is recording.
func (s *Store) Reject(ctx context.Context, id, why string, now time.Time) error {
	if err := run.CheckLabel("reason", why); err != nil {
		return err
	}
	return s.change(ctx, "rejecting a run in", id, func(w *runWriter, n int64, state run.State) error {
		if state == run.Recording {
			return ErrRecording
		}
		if _, err := w.exec(`UPDATE runs SET why = ?, state = 'rejected',
			state_before = CASE state WHEN 'rejected' THEN state_before ELSE state END WHERE n = ?`, why, n); err != nil {
			return err
		}
		return w.decide(n, now, "reject", "user", why)
	})
}

// Keep undoes a rejection, by the user or by a finding: the run is again what
// it was before. ErrNotRejected where there is nothing to undo.
func (s *Store) Keep(ctx context.Context, id, why string, now time.Time) error {
	if err := run.CheckLabel("reason", why); err != nil {
		return err
	}
	return s.change(ctx, "keeping a run in", id, func(w *runWriter, n int64, state run.State) error {
		if state != run.Rejected {
			return ErrNotRejected
		}
		if _, err := w.exec(`UPDATE runs SET why = '', state = state_before, state_before = '' WHERE n = ?`, n); err != nil {
			return err
		}
		return w.decide(n, now, "keep", "user", why)
	})
}

// change does something to one run, on disk when it returns.
func (s *Store) change(ctx context.Context, doing, id string, f func(w *runWriter, n int64, state run.State) error) error {
	return s.fail(doing, s.commit(ctx, true, func(tx *sql.Tx) error {
		n, state, err := runState(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := f(newRunWriter(ctx, tx), n, state); err != nil {
			return fmt.Errorf("run %s: %w", id, err)
		}
		return nil
	}))
}

func (w *runWriter) decide(n int64, at time.Time, what, who, why string) error {
	_, err := w.exec(`INSERT INTO decisions VALUES (?, ?, ?, ?, ?)`, n, stampText(at), what, who, why)
	return err
}

// dropResultMissing takes the finding away from a run that has a result.
func (w *runWriter) dropResultMissing(n int64) error {
	_, err := w.exec(`DELETE FROM findings WHERE run = ?1 AND code = ?2 AND EXISTS (SELECT 1 FROM results WHERE run = ?1)`,
		n, string(run.ResultMissing))
	return err
}

func ended(d *run.Record) time.Time {
	if d.DurationS == nil || d.StartedAt.IsZero() {
		return d.StartedAt.Time
	}
	return d.StartedAt.Add(time.Duration(*d.DurationS * float64(time.Second)))
}
