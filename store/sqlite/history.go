package sqlite

import (
	"context"
	"database/sql"

	"sweepd/store"
)

// History tells what was corrected and decided, see store.Runs.
func (s *Store) History(ctx context.Context, id string) (store.History, error) {
	h := store.History{Results: []store.OldResult{}, Decisions: []store.Decided{}}
	n, _, err := runState(ctx, s.read, id, s.kept())
	if err != nil {
		return h, s.fail("reading a run of", err)
	}
	err = each(ctx, s.read, func(rows *sql.Rows) error {
		var x store.OldResult
		var set, replaced sql.NullString
		if err := rows.Scan(&x.Name, &x.Result.Value, &x.Result.Unit, (*string)(&x.Result.Better), &set, &replaced); err != nil {
			return err
		}
		if x.SetAt, err = parseStamp(set.String); err != nil {
			return err
		}
		x.ReplacedAt, err = parseStamp(replaced.String)
		h.Results = append(h.Results, x)
		return err
	}, `SELECT name, value, unit, better, set_at, replaced_at FROM result_history WHERE run = ? ORDER BY rowid`, n)
	if err != nil {
		return h, s.fail("reading a run of", err)
	}
	err = each(ctx, s.read, func(rows *sql.Rows) error {
		var x store.Decided
		var at sql.NullString
		if err := rows.Scan(&at, (*string)(&x.What), &x.Who, &x.Why); err != nil {
			return err
		}
		x.At, err = parseStamp(at.String)
		h.Decisions = append(h.Decisions, x)
		return err
	}, `SELECT at, what, who, why FROM decisions WHERE run = ? ORDER BY rowid`, n)
	return h, s.fail("reading a run of", err)
}
