package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"
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
	case run.Unkeep:
		doing = "keeping a run no longer in"
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
		if err := w.keep(n, state, c.Why); err != nil {
			return err
		}
	case run.Unkeep:
		if err := w.unkeep(n, state); err != nil {
			return err
		}
	default:
		return nil
	}
	return w.decide(n, c.At, c.Decision, "user", c.Why)
}

// keep makes a rejected run what it was before, and an interrupted one a finished one.
func (w *runWriter) keep(n int64, state run.State, why string) error {
	switch state {
	case run.Rejected:
		return w.keepRejected(n)
	case run.Interrupted:
	default:
		return store.ErrNotRejected
	}
	var duration sql.NullFloat64
	var summaries bool
	err := w.tx.QueryRowContext(w.ctx, `SELECT duration_s, EXISTS (SELECT 1 FROM summaries WHERE run = n) FROM runs WHERE n = ?`, n).Scan(&duration, &summaries)
	if err != nil {
		return err
	}
	if !summaries && !(duration.Float64 > 0) {
		return run.ErrNoSweep
	}
	var known *float64
	if duration.Valid {
		known = &duration.Float64
	}
	f := run.KeptInterruptedFinding(known, why)
	if err := w.replaceFinding(n, f.Code, &f); err != nil {
		return err
	}
	_, err = w.exec(`UPDATE runs SET why = ?, state = 'finished' WHERE n = ?`, why, n)
	return err
}

// keepRejected makes a rejected run what it was before: where that is an interrupted one
// that was kept, with the reason of that. Of a run that was rejected elsewhere the
// rejection is noted, so that it can be brought back.
func (w *runWriter) keepRejected(n int64) error {
	stack, err := w.decisions(n)
	if err != nil {
		return err
	}
	if len(stack) == 0 || stack[len(stack)-1].what != run.Reject {
		var why string
		if err := w.tx.QueryRowContext(w.ctx, `SELECT why FROM runs WHERE n = ?`, n).Scan(&why); err != nil {
			return err
		}
		who := "user"
		if code, _, found := strings.Cut(why, ":"); found && slices.Contains(run.Codes(), code) {
			who = "finding"
		}
		if err := w.decide(n, time.Time{}, run.Reject, who, why); err != nil {
			return err
		}
	}
	if _, err := w.exec(`UPDATE runs SET why = '', state = state_before, state_before = '' WHERE n = ?`, n); err != nil {
		return err
	}
	for i, d := range slices.Backward(stack) {
		if d.what == run.Keep && d.ofInterrupted(stack[:i]) {
			_, err := w.exec(`UPDATE runs SET why = ? WHERE n = ? AND state = 'finished' AND EXISTS (SELECT 1 FROM findings WHERE run = n AND code = ?)`,
				d.why, n, string(run.KeptInterrupted))
			return err
		}
	}
	return nil
}

// unkeep undoes the last keeping, if nothing was decided since.
func (w *runWriter) unkeep(n int64, state run.State) error {
	stack, err := w.decisions(n)
	if err != nil {
		return err
	}
	if len(stack) == 0 || stack[len(stack)-1].what != run.Keep {
		return store.ErrNotKept
	}
	last := len(stack) - 1
	if stack[last].ofInterrupted(stack[:last]) {
		if err := w.replaceFinding(n, run.KeptInterrupted, nil); err != nil {
			return err
		}
		_, err := w.exec(`UPDATE runs SET why = '', state = 'interrupted' WHERE n = ?`, n)
		return err
	}
	_, err = w.exec(`UPDATE runs SET why = ?, state = 'rejected', state_before = ? WHERE n = ?`, stack[last-1].why, string(state), n)
	return err
}

// decision is one that holds.
type decision struct {
	what run.Decision
	why  string
}

// ofInterrupted tells whether a keeping was of an interrupted run, and not of one that
// was rejected, by what had been decided before.
func (d decision) ofInterrupted(before []decision) bool {
	return len(before) == 0 || before[len(before)-1].what != run.Reject
}

// decisions are those about a run that were not undone, the oldest first.
func (w *runWriter) decisions(n int64) (stack []decision, err error) {
	err = each(w.ctx, w.tx, func(rows *sql.Rows) error {
		var d decision
		if err := rows.Scan((*string)(&d.what), &d.why); err != nil {
			return err
		}
		if d.what != run.Unkeep {
			stack = append(stack, d)
		} else if len(stack) > 0 {
			stack = stack[:len(stack)-1]
		}
		return nil
	}, `SELECT what, why FROM decisions WHERE run = ? ORDER BY rowid`, n)
	return stack, err
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
