package sqlite

import (
	"context"
	"database/sql"

	"sweepd/schedule"
)

// KeepOutcome keeps how an entry of the schedule went, see store.Outcomes.
func (s *Store) KeepOutcome(ctx context.Context, o schedule.Outcome) error {
	return s.fail("storing an outcome in", s.commit(ctx, false, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO schedule_outcomes VALUES (?, ?, ?, ?, ?)`,
			o.Entry, o.DueAt.String(), o.EndedAt.String(), string(o.Status), o.Text)
		return err
	}))
}

// Outcomes are how the entries of the schedule went, see store.Outcomes.
func (s *Store) Outcomes(ctx context.Context) (map[string]schedule.Outcome, error) {
	all := map[string]schedule.Outcome{}
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var o schedule.Outcome
		var due, ended string
		err := rows.Scan(&o.Entry, &due, &ended, (*string)(&o.Status), &o.Text)
		if err != nil {
			return err
		}
		if o.DueAt, err = parseStamp(due); err != nil {
			return err
		}
		o.EndedAt, err = parseStamp(ended)
		all[o.Entry] = o
		return err
	}, `SELECT entry, due_at, ended_at, outcome, text FROM schedule_outcomes`)
	return all, s.fail("reading outcomes of", err)
}
