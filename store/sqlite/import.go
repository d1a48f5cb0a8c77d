package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"

	"sweepd/run"
)

// Import stores the runs that a sequence gives, all or none, see store.Importer. The
// sequence is walked on a goroutine of its own.
func (s *Store) Import(ctx context.Context, runs iter.Seq2[*run.Record, error], progress func(done int)) (added, known int, err error) {
	if s.write == nil {
		return 0, 0, s.fail("importing to", errReadOnly)
	}
	defer s.setForImport(context.WithoutCancel(ctx), cacheKiB, "DEFAULT")
	if err := s.setForImport(ctx, importCache, "MEMORY"); err != nil {
		return 0, 0, s.fail("importing to", err)
	}
	var given error
	total := 0
	err = s.commit(ctx, true, func(tx *sql.Tx) error {
		// A context that can end costs a goroutine for each statement.
		i, err := newRunInserter(newRunWriter(context.WithoutCancel(ctx), tx))
		if err != nil {
			return err
		}
		for r, err := range walkAhead(ctx, runs) {
			if err != nil {
				given = err
				return err
			}
			if r.State == run.Recording {
				return fmt.Errorf("run %s is %q: only its own agent can record it", r.ID, run.Recording)
			}
			if err := i.put(r); err != nil {
				return err
			}
			if total++; total%progressEvery == 0 && progress != nil {
				progress(total)
			}
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if total%progressEvery != 0 && progress != nil {
			progress(total)
		}
		err = i.flush()
		added = i.added
		return err
	})
	switch {
	case err == nil:
		return added, total - added, nil
	case given != nil && errors.Is(err, given):
		return 0, 0, given
	}
	return 0, 0, s.fail("importing to", err)
}

// walkAhead walks a sequence on a goroutine of its own, so that making the runs and
// storing them take no more time than the slower of the two. Where the context ends, so
// does the sequence.
func walkAhead(ctx context.Context, runs iter.Seq2[*run.Record, error]) iter.Seq2[*run.Record, error] {
	type step struct {
		run *run.Record
		err error
	}
	return func(yield func(*run.Record, error) bool) {
		ctx, cancel := context.WithCancel(ctx)
		steps := make(chan []step, 4)
		go func() {
			defer close(steps)
			var some []step
			for r, err := range runs {
				if ctx.Err() != nil {
					return
				}
				if some = append(some, step{r, err}); len(some) == rowsTogether {
					select {
					case steps <- some:
						some = nil
					case <-ctx.Done():
						return
					}
				}
			}
			select {
			case steps <- some:
			case <-ctx.Done():
			}
		}()
		defer func() {
			cancel()
			for range steps { // until the goroutine has ended
			}
		}()
		for some := range steps {
			for _, x := range some {
				if ctx.Err() != nil || !yield(x.run, x.err) {
					return
				}
			}
		}
	}
}

// importCache is the page cache while importing, KiB: ids come in random order. Seen
// with eight times as much: 100 000 runs took 1.3 times as long, 800 000 a fifth less.
const importCache = "-8192"

// setForImport sets the writing connection's page cache, and where it keeps what it
// needs to take back a statement that writes many rows and fails.
func (s *Store) setForImport(ctx context.Context, cache, statementJournal string) error {
	_, err := s.write.ExecContext(ctx, "PRAGMA cache_size = "+cache+"; PRAGMA temp_store = "+statementJournal)
	return err
}

// progressEvery is the number of runs between two calls of progress.
const progressEvery = 1000
