package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"math/rand/v2"
	"time"
)

// commit runs f in a transaction, in the file that is at the path. With flush the disk
// has it on return, and the file is still there; else a power cut may still take it.
func (s *Store) commit(ctx context.Context, flush bool, f func(*sql.Tx) error) error {
	if err := s.checkPlace(ctx); err != nil {
		return err
	}
	if err := s.commitThere(ctx, flush, busyTimeout, f); err != nil || !flush {
		return err
	}
	return s.checkPlace(ctx)
}

// turnPatience is how long commitInTurn waits. Each commit has it anew.
const turnPatience = time.Minute

// commitInTurn is commit for one of many transactions in a row. SQLite asks for a lock
// at most every 100 ms (sqliteDefaultBusyCallback in main.c of SQLite), and who writes
// again and again leaves it free for much less: somebody would wait out busyTimeout now
// and then. This asks every few milliseconds and at random, so it finds such a moment. It
// leaves the connection to others of this process in between. f runs once at most.
func (s *Store) commitInTurn(ctx context.Context, flush bool, f func(*sql.Tx) error) error {
	began := false
	for end := time.Now().Add(turnPatience); ; {
		if err := s.checkPlace(ctx); err != nil {
			return err
		}
		err := s.commitThere(ctx, flush, "0", func(tx *sql.Tx) error {
			began = true
			return f(tx)
		})
		if err != nil && !began && isBusy(err) && time.Now().Before(end) {
			if err := sleep(ctx, time.Millisecond+rand.N(4*time.Millisecond)); err != nil {
				return err
			}
			continue
		}
		if err != nil || !flush {
			return err
		}
		return s.checkPlace(ctx)
	}
}

// commitThere waits at most that long for the lock, ms.
func (s *Store) commitThere(ctx context.Context, flush bool, wait string, f func(*sql.Tx) error) error {
	conn, err := s.write.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if wait != busyTimeout {
		defer conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA busy_timeout = "+busyTimeout)
		if _, err := conn.ExecContext(ctx, "PRAGMA busy_timeout = "+wait); err != nil {
			return err
		}
	}
	if flush && !s.unsynced {
		if _, err := conn.ExecContext(ctx, "PRAGMA synchronous = FULL"); err != nil {
			return err
		}
		// Where this fails, later commits are synced too: slower, not wrong.
		defer conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA synchronous = NORMAL")
	}
	return inTx(ctx, conn, f)
}

// sleep fails where the context ends.
func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
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
