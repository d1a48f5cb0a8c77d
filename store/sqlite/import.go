package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"

	"sweepd/run"
	"sweepd/store"
)

// Import stores the runs that a sequence gives, all or none, see store.Importer. The
// sequence is walked on a goroutine of its own.
func (s *Store) Import(ctx context.Context, source string, runs iter.Seq2[*run.Record, error], progress func(done int)) (added, known int, err error) {
	if s.write == nil {
		return 0, 0, s.fail("importing to", errReadOnly)
	}
	restore, err := s.setForIntake(ctx)
	if err != nil {
		return 0, 0, s.fail("importing to", store.Stopped(ctx, err))
	}
	defer restore()
	in, err := s.newIntake(ctx)
	if err != nil {
		return 0, 0, s.fail("importing to", store.Stopped(ctx, err))
	}
	x := importer{intake: in, progress: progress}
	if x.former, err = s.hasFormerIDs(ctx); err == nil {
		err = x.take(ctx, runs)
	}
	if err == nil {
		err = in.finish(ctx, source)
	}
	if err == nil {
		return x.added, x.total - x.added, nil
	}
	if e := in.undo(context.WithoutCancel(ctx)); e != nil && !errors.Is(e, errTaken) {
		err = errors.Join(err, fmt.Errorf("taking out again what was stored (the next import does it): %w", e))
	}
	if x.given != nil {
		return 0, 0, x.given
	}
	return 0, 0, s.fail("importing to", store.Stopped(ctx, err))
}

// importer stores the runs of a sequence.
type importer struct {
	*intake
	progress     func(done int)
	former       bool // runs may be here under ids that earlier versions derived
	total, added int
	given        error // that the sequence gave
}

// take stores all runs, in slices.
func (x *importer) take(ctx context.Context, runs iter.Seq2[*run.Record, error]) error {
	next, stop := iter.Pull2(walkAhead(ctx, runs))
	defer stop()
	for more := true; more; {
		err := x.slice(ctx, func(tx *sql.Tx, full func() bool) (err error) {
			// A context that can end costs a goroutine for each statement.
			more, err = x.some(newRunWriter(context.WithoutCancel(ctx), tx), next, full)
			return err
		})
		if err != nil {
			return err
		}
	}
	if x.total%progressEvery != 0 {
		x.tell()
	}
	return ctx.Err()
}

// some stores runs until the slice is full, and says whether there may be more.
func (x *importer) some(w *runWriter, next func() (*run.Record, error, bool), full func() bool) (more bool, err error) {
	i, err := newRunInserter(w, x.id)
	if err != nil {
		return false, err
	}
	more = true
	for more && !full() {
		var r *run.Record
		if r, x.given, more = next(); x.given != nil || !more {
			break
		}
		if err := r.CheckImported(); err != nil {
			return false, err
		}
		known, err := x.comesBackAs(r), error(nil)
		if !known {
			known, err = x.knownBefore(w, r)
		}
		if err == nil && !known {
			err = i.put(r)
		}
		if err != nil {
			return false, err
		}
		if x.total++; x.total%progressEvery == 0 {
			x.tell()
		}
	}
	if x.given != nil {
		return false, x.given
	}
	err = i.flush()
	x.added += i.added
	return more, err
}

// hasFormerIDs tells whether a run has an id that earlier versions derived from the text
// of its row, a UUID of version 5.
func (s *Store) hasFormerIDs(ctx context.Context) (has bool, err error) {
	err = s.write.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM runs WHERE id LIKE '________-____-5___-____-____________')`).Scan(&has)
	return has, err
}

// comesBackAs tells whether a run comes back under its id, or one of its former ids.
func (x *importer) comesBackAs(r *run.Record) bool {
	back := x.comesBack(r.ID)
	for _, id := range r.Former {
		back = back || x.comesBack(id)
	}
	if back {
		x.added++
	}
	return back
}

// knownBefore tells whether a run is here under one of its former ids.
func (x *importer) knownBefore(w *runWriter, r *run.Record) (known bool, err error) {
	for _, id := range r.Former {
		if !x.former || known || err != nil {
			break
		}
		err = w.tx.QueryRowContext(w.ctx, `SELECT EXISTS (SELECT 1 FROM runs WHERE id = ?)`, id).Scan(&known)
	}
	return known, err
}

func (x *importer) tell() {
	if x.progress != nil {
		x.progress(x.total)
	}
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

// setForIntake sets the writing connection's page cache and where it keeps what it needs
// to take back a statement that writes many rows and fails, and leaves bringing the
// write-ahead log to the file to the pauses between slices.
func (s *Store) setForIntake(ctx context.Context) (restore func(), err error) {
	set := func(ctx context.Context, cache, statementJournal, checkpoint string) error {
		_, err := s.write.ExecContext(ctx, "PRAGMA cache_size = "+cache+"; PRAGMA temp_store = "+statementJournal+"; PRAGMA wal_autocheckpoint = "+checkpoint)
		return err
	}
	// Where this fails, the agent has more memory than it needs.
	restore = func() { _ = set(context.WithoutCancel(ctx), cacheKiB, "DEFAULT", checkpointPages) }
	if err := set(ctx, importCache, "MEMORY", "0"); err != nil {
		restore()
		return nil, err
	}
	return restore, nil
}

// progressEvery is the number of runs between two calls of progress.
const progressEvery = 1000
