package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Imports lists what brought runs, see store.Importer.
func (s *Store) Imports(ctx context.Context) ([]store.Import, error) {
	list := []store.Import{}
	if s.version < 2 {
		return list, nil
	}
	columns := "i.at, source, CASE WHEN " + takenBack + " THEN taken_back_at END"
	if s.version < 3 {
		columns = "NULL, '', NULL"
	}
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var x store.Import
		var at, taken sql.NullString
		if err := rows.Scan(&x.ID, &x.Runs, &at, &x.Source, &taken); err != nil {
			return err
		}
		var err, failed error
		x.At, err = parseStamp(at.String)
		x.TakenAt, failed = parseStamp(taken.String)
		list = append(list, x)
		return errors.Join(err, failed)
	}, `SELECT i.id, count(*), `+columns+` FROM imports i JOIN runs ON import = i.id WHERE NOT (`+underWay+`) GROUP BY i.id ORDER BY i.id`)
	return list, s.fail("listing imports of", err)
}

// TakeBack hides the runs of an import, or has them back, see store.Importer.
func (s *Store) TakeBack(ctx context.Context, id int64, back bool, at time.Time) error {
	doing := "having an import back in"
	if back {
		doing = "taking back an import of"
	}
	return s.fail(doing, s.commit(ctx, true, func(tx *sql.Tx) error {
		var is bool
		err := tx.QueryRowContext(ctx, `SELECT `+takenBack+` FROM imports WHERE id = ? AND NOT (`+underWay+`)`, id).Scan(&is)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return fmt.Errorf("import %d: %w", id, store.ErrNoImport)
		case err != nil:
			return err
		case is == back:
			return fmt.Errorf("import %d: %w", id, store.ErrTakenBack)
		}
		var when any
		if back {
			when = run.Stamp(at).String()
		}
		_, err = tx.ExecContext(ctx, `UPDATE imports SET taken_back = ?, taken_back_at = ? WHERE id = ?`, back, when, id)
		return err
	}))
}

// NameImport says what file an import read, see store.Importer.
func (s *Store) NameImport(ctx context.Context, id int64, source string) error {
	return s.fail("naming an import of", s.commit(ctx, false, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE imports SET source = ? WHERE id = ?`, source, id)
		return err
	}))
}
