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

// Correct changes a run that is kept, all or nothing, and returns it as it is then,
// which is on disk. id is a full one.
//
// A result that is replaced goes to the history, and with any result there is no
// finding that one is missing. Rejecting a run again gives it another reason;
// ErrRecording while it is recording. Keeping makes it again what it was before it was
// rejected; ErrNotRejected where there is nothing to undo.
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
		n, state, err := runState(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := newRunWriter(ctx, tx).correct(n, state, c); err != nil {
			return fmt.Errorf("run %s: %w", id, err)
		}
		corrected, err := readRuns(ctx, tx, selection{where: "n = ?", args: []any{n}}, whole)
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
			return store.ErrRecording
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
	_, err := w.exec(`INSERT INTO findings (run, position, code, severity, text, at)
		SELECT ?1, coalesce(max(position) + 1, 0), ?2, ?3, ?4, ?5 FROM findings WHERE run = ?1`,
		n, string(f.Code), string(f.Severity), f.Text, stampText(f.At))
	return err
}

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

func ended(d *run.Record) time.Time {
	if d.DurationS == nil || d.StartedAt.IsZero() {
		return d.StartedAt.Time
	}
	return d.StartedAt.Add(time.Duration(*d.DurationS * float64(time.Second)))
}
