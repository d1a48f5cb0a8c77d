package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"iter"

	"sweepd/run"
)

// ImportRuns is ImportEach of a list.
func (s *Store) ImportRuns(ctx context.Context, runs []run.Record, progress func(done, total int)) (added, known int, err error) {
	each := func(yield func(*run.Record, error) bool) {
		for i := range runs {
			if !yield(&runs[i], nil) {
				return
			}
		}
	}
	return s.ImportEach(ctx, each, func(done int) {
		if progress != nil {
			progress(done, len(runs))
		}
	})
}

// ImportEach stores the runs that a sequence gives, all or none. Runs whose id is
// known are left as they are and counted as known. An error that the sequence gives
// ends it: nothing is stored, and the error is returned as it is. progress may be nil;
// it counts runs.
//
// The sequence is walked on a goroutine of its own, which ends before ImportEach
// does. It should not have to wait for anything, since writers wait meanwhile, and the
// runs that it gives must stay as they are.
func (s *Store) ImportEach(ctx context.Context, runs iter.Seq2[*run.Record, error], progress func(done int)) (added, known int, err error) {
	if s.write == nil {
		return 0, 0, s.fail("importing to", errReadOnly)
	}
	defer s.setForImport(context.WithoutCancel(ctx), cacheKiB, "DEFAULT")
	if err := s.setForImport(ctx, importCache, "MEMORY"); err != nil {
		return 0, 0, s.fail("importing to", err)
	}
	source := newRunSource(ctx, runs)
	total := 0
	err = s.commit(ctx, true, func(tx *sql.Tx) (err error) {
		// A context that can end costs a goroutine for each statement.
		added, total, err = importFrom(newRunWriter(context.WithoutCancel(ctx), tx), source, progress)
		if ctx.Err() != nil { // the cause, not what it led to
			return ctx.Err()
		}
		return err
	})
	source.stop()
	switch {
	case err == nil:
		return added, total - added, nil
	case source.given != nil && errors.Is(err, source.given):
		return 0, 0, err
	}
	return 0, 0, s.fail("importing to", err)
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

func importFrom(w *runWriter, source *runSource, progress func(done int)) (added, total int, err error) {
	b, err := newRunBatch(w)
	if err != nil {
		return 0, 0, err
	}
	tell := func() {
		if progress != nil {
			progress(total)
		}
	}
	for chunk := range source.chunks {
		for _, r := range chunk {
			if err := b.put(r); err != nil {
				return 0, 0, err
			}
			if total++; total%progressEvery == 0 {
				tell()
			}
		}
	}
	if source.err != nil {
		return 0, 0, source.err
	}
	if total%progressEvery != 0 {
		tell()
	}
	err = b.flush()
	return b.added, total, err
}
