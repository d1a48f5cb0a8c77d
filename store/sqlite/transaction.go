package sqlite

import (
	"context"
	"database/sql"
	"errors"
)

// commit runs f in a transaction, in the file that is at the path. With flush the disk
// has it on return, and the file is still there; else a power cut may still take it.
func (s *Store) commit(ctx context.Context, flush bool, f func(*sql.Tx) error) error {
	if err := s.checkPlace(ctx); err != nil {
		return err
	}
	if err := s.commitThere(ctx, flush, f); err != nil || !flush {
		return err
	}
	return s.checkPlace(ctx)
}

func (s *Store) commitThere(ctx context.Context, flush bool, f func(*sql.Tx) error) error {
	conn, err := s.write.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if flush && !s.unsynced {
		if _, err := conn.ExecContext(ctx, "PRAGMA synchronous = FULL"); err != nil {
			return err
		}
		// Where this fails, later commits are synced too: slower, not wrong.
		defer conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA synchronous = NORMAL")
	}
	return inTx(ctx, conn, f)
}

type beginner interface {
	BeginTx(ctx context.Context, o *sql.TxOptions) (*sql.Tx, error)
}

// inTx commits what f did, or nothing of it, also where f panics. What f reads is as of
// one moment.
func inTx(ctx context.Context, b beginner, f func(*sql.Tx) error) (err error) {
	tx, err := b.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() {
		if e := tx.Rollback(); !errors.Is(e, sql.ErrTxDone) {
			err = errors.Join(err, e)
		}
	}()
	if err := f(tx); err != nil {
		return err
	}
	return tx.Commit()
}

type queryer interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

type rowsQueryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

type reader interface {
	queryer
	rowsQueryer
}

// numbers are the integers that a query gives.
func numbers(ctx context.Context, q rowsQueryer, query string, args ...any) (all []int64, err error) {
	err = each(ctx, q, func(rows *sql.Rows) error {
		var n int64
		err := rows.Scan(&n)
		all = append(all, n)
		return err
	}, query, args...)
	return all, err
}

// each calls scan for every row of a query.
func each(ctx context.Context, q rowsQueryer, scan func(*sql.Rows) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
