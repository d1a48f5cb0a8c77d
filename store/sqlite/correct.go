package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Correct changes a run, see store.Corrector.
func (s *Store) Correct(ctx context.Context, id string, c run.Correction) (r run.Record, err error) {
	if err := c.Check(); err != nil {
		return r, err
	}
	doing := "storing a result in"
	switch c.Decision {
	case run.Reject:
		doing = "rejecting a run in"
	case run.Keep:
		doing = "keeping a run in"
	}
	return r, s.fail(doing, s.commit(ctx, true, func(tx *sql.Tx) error {
		n, state, err := runState(ctx, tx, id, keptRuns)
		if err != nil {
			return err
		}
		w := newRunWriter(ctx, tx)
		if err := w.change(n, func() error { return w.correct(n, state, c) }); err != nil {
			return fmt.Errorf("run %s: %w", id, err)
		}
		corrected, err := readRuns(ctx, tx, Version, runNumber(n), whole)
		if err == nil {
			r = corrected.records()[0]
		}
		return err
	}))
}

func (w *runWriter) correct(n int64, state run.State, c run.Correction) error {
	for _, name := range slices.Sorted(maps.Keys(c.Results)) {
		if err := w.setResult(n, name, c.Results[name], c.At); err != nil {
			return err
		}
	}
	if len(c.Results) > 0 {
		if err := w.dropResultMissing(n); err != nil {
			return err
		}
	}
	for _, code := range slices.Sorted(maps.Keys(c.Findings)) {
		if err := w.replaceFinding(n, code, c.Findings[code]); err != nil {
			return err
		}
	}
	switch c.Decision {
	case run.Reject:
		if state == run.Recording {
			return store.ErrStillRecording
		}
		if _, err := w.exec(`UPDATE runs SET why = ?, state = 'rejected',
			state_before = CASE state WHEN 'rejected' THEN state_before ELSE state END WHERE n = ?`, c.Why, n); err != nil {
			return err
		}
	case run.Keep:
		if state != run.Rejected {
			return store.ErrNotRejected
		}
		if _, err := w.exec(`UPDATE runs SET why = '', state = state_before, state_before = '' WHERE n = ?`, n); err != nil {
			return err
		}
	default:
		return nil
	}
	return w.decide(n, c.At, c.Decision, "user", c.Why)
}

// replaceFinding puts f in the place of the findings of a kind; nil only takes them
// away.
func (w *runWriter) replaceFinding(n int64, code run.Code, f *run.Finding) error {
	if _, err := w.exec(`DELETE FROM findings WHERE run = ? AND code = ?`, n, string(code)); err != nil || f == nil {
		return err
	}
	return w.addFinding(n, *f)
}

// decide notes a decision.
func (w *runWriter) decide(n int64, at time.Time, what run.Decision, who, why string) error {
	_, err := w.exec(`INSERT INTO decisions VALUES (?, ?, ?, ?, ?)`, n, stampText(at), string(what), who, why)
	return err
}

// dropResultMissing takes the finding away from a run that has a result.
func (w *runWriter) dropResultMissing(n int64) error {
	_, err := w.exec(`DELETE FROM findings WHERE run = ?1 AND code = ?2 AND EXISTS (SELECT 1 FROM results WHERE run = ?1)`,
		n, string(run.ResultMissing))
	return err
}

// ended is when a run ended, or when it started where its duration is unknown.
func ended(r *run.Record) time.Time {
	if r.DurationS == nil || r.StartedAt.IsZero() {
		return r.StartedAt.Time
	}
	return r.StartedAt.Add(time.Duration(*r.DurationS * float64(time.Second)))
}
