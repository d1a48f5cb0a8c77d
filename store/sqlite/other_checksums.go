package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Kinds of what has its checksum in `checksums`.
const (
	sealedPlan    = "plan"    // of is the plan's id
	sealedOutcome = "outcome" // of is the checksum of the entry's name
)

// seal stores the checksum of what a query selects.
func seal(ctx context.Context, tx *sql.Tx, kind string, of int64, sum uint32) error {
	_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO checksums VALUES (?, ?, ?)`, kind, of, int64(sum))
	return err
}

// sealed is the stored checksum, false where there is none.
func sealed(ctx context.Context, q queryer, kind string, of int64) (sum int64, found bool, err error) {
	err = q.QueryRowContext(ctx, `SELECT checksum FROM checksums WHERE kind = ? AND of = ?`, kind, of).Scan(&sum)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	return sum, err == nil, err
}

// sumRows goes on from a checksum with the rows of a query.
func sumRows(ctx context.Context, q rowsQueryer, sum uint32, query string, args ...any) (uint32, error) {
	var s summer
	var values, into []any
	err := each(ctx, q, func(rows *sql.Rows) error {
		if values == nil {
			columns, err := rows.Columns()
			if err != nil {
				return err
			}
			values = make([]any, len(columns))
			for i := range values {
				into = append(into, &values[i])
			}
		}
		if err := rows.Scan(into...); err != nil {
			return err
		}
		sum = s.add(sum, values...)
		return nil
	}, query, args...)
	return sum, err
}

func planSum(ctx context.Context, q rowsQueryer, id int64) (uint32, error) {
	sum, err := sumRows(ctx, q, 0, `SELECT id, created_at, seed, hard, said FROM plans WHERE id = ?`, id)
	if err != nil {
		return 0, err
	}
	return sumRows(ctx, q, sum, `SELECT pass, device, workload, variant, supply, setting_w, setting, needs_charge_ratio, wait_s
		FROM plan_slots WHERE plan = ? ORDER BY position`, id)
}

func sealPlan(ctx context.Context, tx *sql.Tx, id int64) error {
	sum, err := planSum(ctx, tx, id)
	if err != nil {
		return err
	}
	return seal(ctx, tx, sealedPlan, id, sum)
}

// errPlanDamaged says how to go on.
var errPlanDamaged = fmt.Errorf("%w; `sweepd plan new` makes another one", ErrDamaged)

// plansFrom are the plans from this one on, also those that have nothing but a checksum.
func plansFrom(ctx context.Context, tx *sql.Tx, from int64) ([]int64, error) {
	return numbers(ctx, tx, `SELECT id FROM plans WHERE id >= ?1
		UNION SELECT of FROM checksums WHERE kind = ?2 AND of >= ?1 ORDER BY 1 DESC`, from, sealedPlan)
}

// checkPlan holds a plan against its checksum.
func checkPlan(ctx context.Context, tx *sql.Tx, id int64) error {
	sum, err := planSum(ctx, tx, id)
	if err != nil {
		return err
	}
	stored, found, err := sealed(ctx, tx, sealedPlan, id)
	if err == nil && (!found || stored != int64(sum)) {
		err = fmt.Errorf("plan %d: %w", id, errPlanDamaged)
	}
	return err
}

// entrySum is what the checksum of an entry's outcome is kept under.
func entrySum(entry string) int64 {
	var s summer
	return int64(s.add(0, entry))
}

func sealOutcome(ctx context.Context, tx *sql.Tx, entry string) error {
	sum, err := sumRows(ctx, tx, 0, `SELECT * FROM schedule_outcomes WHERE entry = ?`, entry)
	if err != nil {
		return err
	}
	return seal(ctx, tx, sealedOutcome, entrySum(entry), sum)
}

// sealOthers seals plans and outcomes as they are.
func sealOthers(ctx context.Context, tx *sql.Tx) error {
	plans, err := numbers(ctx, tx, `SELECT id FROM plans`)
	if err != nil {
		return err
	}
	for _, id := range plans {
		if err := sealPlan(ctx, tx, id); err != nil {
			return err
		}
	}
	var entries []string
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var entry string
		err := rows.Scan(&entry)
		entries = append(entries, entry)
		return err
	}, `SELECT entry FROM schedule_outcomes`)
	for _, entry := range entries {
		if err := sealOutcome(ctx, tx, entry); err != nil {
			return err
		}
	}
	return err
}
