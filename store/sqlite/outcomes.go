package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"sweepd/schedule"
)

// KeepOutcome keeps how an entry of the schedule went, see store.Outcomes.
func (s *Store) KeepOutcome(ctx context.Context, o schedule.Outcome) error {
	return s.fail("storing an outcome in", s.commit(ctx, false, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO schedule_outcomes VALUES (?, ?, ?, ?, ?)`,
			o.Entry, o.DueAt.String(), o.EndedAt.String(), string(o.Status), o.Text)
		if err != nil {
			return err
		}
		return sealOutcome(ctx, tx, o.Entry)
	}))
}

// Outcomes are how the entries of the schedule went, see store.Outcomes. Those that are
// damaged are left out.
func (s *Store) Outcomes(ctx context.Context) (all map[string]schedule.Outcome, err error) {
	err = inTx(ctx, s.read, func(tx *sql.Tx) error {
		var damaged int
		if all, damaged, err = readOutcomes(ctx, tx, s.version); damaged > 0 {
			s.notice(fmt.Sprintf("%d outcomes of the schedule", damaged))
		}
		return err
	})
	return all, s.fail("reading outcomes of", err)
}

// readOutcomes also says how many are damaged.
func readOutcomes(ctx context.Context, tx *sql.Tx, version int) (all map[string]schedule.Outcome, damaged int, err error) {
	all = map[string]schedule.Outcome{}
	sums := map[int64]int64{}
	if version >= 2 {
		err := each(ctx, tx, func(rows *sql.Rows) error {
			var of, sum int64
			err := rows.Scan(&of, &sum)
			sums[of] = sum
			return err
		}, `SELECT of, checksum FROM checksums WHERE kind = ?`, sealedOutcome)
		if err != nil {
			return all, 0, err
		}
	}
	var sum summer
	count := 0
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var o schedule.Outcome
		var due, ended string
		if err := rows.Scan(&o.Entry, &due, &ended, (*string)(&o.Status), &o.Text); err != nil {
			return err
		}
		count++
		if version >= 2 {
			if stored, found := sums[entrySum(o.Entry)]; !found || stored != int64(sum.add(0, o.Entry, due, ended, string(o.Status), o.Text)) {
				return nil
			}
		}
		if o.DueAt, err = parseStamp(due); err != nil {
			return err
		}
		o.EndedAt, err = parseStamp(ended)
		all[o.Entry] = o
		return err
	}, `SELECT entry, due_at, ended_at, outcome, text FROM schedule_outcomes`)
	if version >= 2 {
		damaged = max(count, len(sums)) - len(all)
	}
	return all, damaged, err
}
