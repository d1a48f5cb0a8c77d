package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"sweepd/run"
)

// KeepDeclaration keeps the setting declared for a device, see store.Declarations.
func (s *Store) KeepDeclaration(ctx context.Context, device string, d run.Declaration) error {
	return s.fail("storing the declared setting in", s.commit(ctx, false, func(tx *sql.Tx) error {
		if !d.Setting.Known() {
			_, err := tx.ExecContext(ctx, `DELETE FROM declarations WHERE device = ?`, device)
			return err
		}
		row := declarationRow(device, d)
		_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO declarations VALUES (?, ?, ?, ?, ?, ?)`, append(row, declarationSum(row))...)
		return err
	}))
}

// declarationRow is what the checksum covers.
func declarationRow(device string, d run.Declaration) []any {
	w, inWatts := d.Setting.Watts()
	return []any{device, orNull(w, inWatts), d.Setting.Name(), d.At.String(), d.By}
}

func declarationSum(row []any) int64 {
	var s summer
	return int64(s.add(0, row...))
}

// Declaration is the one in force for a device, see store.Declarations. A damaged one is
// left out.
func (s *Store) Declaration(ctx context.Context, device string) (d run.Declaration, err error) {
	if s.version < 3 {
		return d, nil
	}
	d, err = readDeclaration(s.read.QueryRowContext(ctx, declarationColumns+` WHERE device = ?`, device))
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return run.Declaration{}, nil
	case errors.Is(err, ErrDamaged):
		s.notice(fmt.Sprintf("the setting that was declared for %s", device))
		return run.Declaration{}, nil
	}
	return d, s.fail("reading the declared setting of", err)
}

const declarationColumns = `SELECT device, setting_w, setting, declared_at, declared_by, checksum FROM declarations`

func readDeclaration(row interface{ Scan(...any) error }) (d run.Declaration, err error) {
	var device, name, at string
	var w sql.NullFloat64
	var sum int64
	if err := row.Scan(&device, &w, &name, &at, &d.By, &sum); err != nil {
		return d, err
	}
	if sum != declarationSum([]any{device, orNull(w.Float64, w.Valid), name, at, d.By}) {
		return d, fmt.Errorf("the setting that was declared for %s: %w", shortened(device), ErrDamaged)
	}
	d.Setting = run.Named(name)
	if w.Valid {
		d.Setting = run.Watts(w.Float64)
	}
	d.At, err = parseStamp(at)
	return d, err
}
