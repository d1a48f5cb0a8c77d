package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Upkeep drops idle readings, see store.Store. Then it brings what is in the write-ahead
// log to the file, as far as readers let it, and refreshes what the query planner knows.
func (s *Store) Upkeep(ctx context.Context, keepIdle time.Duration, now time.Time) error {
	if err := s.checkPlace(ctx); err != nil {
		return s.fail("tidying", err)
	}
	if err := s.dropBroken(ctx); err != nil {
		return s.fail("tidying", err)
	}
	if keepIdle > 0 {
		if err := s.dropIdle(ctx, now.Add(-keepIdle)); err != nil {
			return s.fail("dropping old idle readings of", err)
		}
	}
	if _, err := s.write.ExecContext(ctx, "PRAGMA optimize"); err != nil {
		return s.fail("tidying", err)
	}
	return s.fail("tidying", s.checkpoint(ctx))
}

// dropRows is how many rows one transaction drops: writers wait meanwhile.
const dropRows = 2000

// idleBounds says for each idle series with rows older than ?1 which rows are
// to go: those below the last key row that is older, because what follows goes
// on from there; or all, where all are older and no agent may be writing.
const idleBounds = `SELECT id, CASE
	WHEN id NOT IN (SELECT max(id) FROM series WHERE run IS NULL GROUP BY device)
		AND NOT EXISTS (SELECT 1 FROM readings WHERE id BETWEEN series.id << 32 AND series.id << 32 | 0xffffffff AND at_ms >= ?1)
	THEN (id + 1) << 32
	ELSE coalesce((SELECT max(id) FROM readings WHERE id BETWEEN series.id << 32 AND series.id << 32 | 0xffffffff
		AND at_ms < ?1 AND hex(substr(data, 1, 1)) IN ('01', '03', '05', '07', '09', '0B', '0D', '0F')), 0)
	END FROM series WHERE run IS NULL AND started_ms < ?1`

// dropIdle drops the idle readings before a moment, as far as idleBounds allows.
func (s *Store) dropIdle(ctx context.Context, before time.Time) error {
	type span struct{ series, end int64 }
	var old []span
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var x span
		err := rows.Scan(&x.series, &x.end)
		old = append(old, x)
		return err
	}, idleBounds, before.UnixMilli())
	if err != nil {
		return err
	}
	for _, x := range old {
		for n := int64(dropRows); n == dropRows; {
			if n, err = s.dropReadings(ctx, x.series<<32, x.end); err != nil {
				return err
			}
		}
	}
	return s.dropEmpty(ctx, before)
}

// dropReadings drops some of the rows from first up to, not with, end.
func (s *Store) dropReadings(ctx context.Context, first, end int64) (n int64, err error) {
	err = s.commit(ctx, false, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `DELETE FROM readings WHERE id IN (
			SELECT id FROM readings WHERE id >= ? AND id < ? ORDER BY id LIMIT ?)`, first, end, dropRows)
		if err == nil {
			n, err = r.RowsAffected()
		}
		return err
	})
	return n, err
}

// dropEmpty drops idle series without rows, but the last of each device, which
// an agent may be writing.
func (s *Store) dropEmpty(ctx context.Context, before time.Time) error {
	const empty = `(SELECT id FROM series WHERE run IS NULL AND started_ms < ?1
		AND id NOT IN (SELECT max(id) FROM series WHERE run IS NULL GROUP BY device)
		AND NOT EXISTS (SELECT 1 FROM readings WHERE id BETWEEN series.id << 32 AND series.id << 32 | 0xffffffff))`
	return s.commit(ctx, false, func(tx *sql.Tx) error {
		for _, table := range seriesTables {
			if _, err := tx.ExecContext(ctx, "DELETE FROM "+table+" WHERE series IN "+empty, before.UnixMilli()); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, "DELETE FROM series WHERE id IN "+empty, before.UnixMilli())
		return err
	})
}

// checkpoint brings the write-ahead log to the file. A reader may keep it from
// finishing, which is no error: the next one does.
func (s *Store) checkpoint(ctx context.Context) error {
	var busy, inLog, done int
	if err := s.write.QueryRowContext(ctx, "PRAGMA wal_checkpoint(PASSIVE)").Scan(&busy, &inLog, &done); err != nil {
		return fmt.Errorf("checkpoint: %w", err)
	}
	return nil
}
