package store

import (
	"context"
	"database/sql"
	"fmt"

	"sweepd/agent"
)

// importCache is the page cache while importing, KiB: ids come in random order.
const importCache = "-65536"

// progressEvery is the number of runs between two calls of progress.
const progressEvery = 1000

// ImportRuns stores runs, all or none. Runs whose id is known are left as they
// are and counted as known. progress may be nil. Writers wait meanwhile.
func (s *Store) ImportRuns(ctx context.Context, runs []agent.Detail, progress func(done, total int)) (added, known int, err error) {
	if s.write == nil {
		return 0, 0, s.fail("importing to", errReadOnly)
	}
	if _, err := s.write.ExecContext(ctx, "PRAGMA cache_size = "+importCache); err != nil {
		return 0, 0, s.fail("importing to", err)
	}
	defer s.write.ExecContext(context.WithoutCancel(ctx), "PRAGMA cache_size = "+cacheKiB)
	err = s.commit(ctx, true, func(tx *sql.Tx) error {
		// A context that can end costs a goroutine for each statement.
		w := newRunWriter(context.WithoutCancel(ctx), tx)
		for i := range runs {
			if runs[i].State == agent.Recording {
				return fmt.Errorf("run %s is %q: only its own agent can record it", runs[i].ID, agent.Recording)
			}
			_, isNew, err := w.add(&runs[i])
			if err != nil {
				return err
			}
			if isNew {
				added++
			}
			done := i + 1
			if done%progressEvery != 0 && done != len(runs) {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if progress != nil {
				progress(done, len(runs))
			}
		}
		return nil
	})
	if err != nil {
		return 0, 0, s.fail("importing to", err)
	}
	return added, len(runs) - added, nil
}
