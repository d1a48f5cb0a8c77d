package store

import (
	"context"
	"database/sql"

	"sweepd/run"
)

// OldResult is a result that a correction replaced.
type OldResult struct {
	Name       string        `json:"name"`
	Result     run.Result    `json:"result"`
	SetAt      run.Timestamp `json:"set_at"` // zero: with the run
	ReplacedAt run.Timestamp `json:"replaced_at"`
}

// Decided is a rejection or its undoing.
type Decided struct {
	At   run.Timestamp `json:"at"`
	What run.Decision  `json:"what"`
	Who  string        `json:"who"` // "finding" or "user"
	Why  string        `json:"why"`
}

// History is what happened to a run after it was recorded, oldest first.
type History struct {
	Results   []OldResult `json:"results"`
	Decisions []Decided   `json:"decisions"`
}

// History tells what was corrected and decided. id is a full one.
func (s *Store) History(ctx context.Context, id string) (History, error) {
	h := History{Results: []OldResult{}, Decisions: []Decided{}}
	n, _, err := runState(ctx, s.read, id)
	if err != nil {
		return h, s.fail("reading a run of", err)
	}
	err = each(ctx, s.read, func(rows *sql.Rows) error {
		var x OldResult
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
		var x Decided
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
