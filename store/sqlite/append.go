package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"sweepd/run"
)

// syncEvery is the monotonic time between two appends that are synced to disk;
// with batches of a second, a power cut takes less than 30 s.
const syncEvery = 25 * time.Second

// recorder is what Append remembers between calls.
type recorder struct {
	mu     sync.Mutex
	series *seriesWriter
	insert *sql.Stmt
	synced time.Duration // monotonic time of the last synced sweep
}

func (r *recorder) close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.insert == nil {
		return nil
	}
	err := r.insert.Close()
	r.insert = nil
	return err
}

// Append stores sweeps, see store.Recorder. At least every 25 s of sweeps it waits until
// the disk has them.
func (s *Store) Append(ctx context.Context, b run.Batch) error {
	if len(b.Sweeps) == 0 {
		return nil
	}
	if s.write == nil {
		return s.fail("storing readings in", errReadOnly)
	}
	if err := checkBatch(b); err != nil {
		return s.fail("storing readings in", fmt.Errorf("%w: %w", run.ErrRefused, err))
	}
	s.recording.mu.Lock()
	defer s.recording.mu.Unlock()
	// Half done it could not be told from done, and would be tried again.
	return s.fail("storing readings in", s.appendLocked(context.WithoutCancel(ctx), b))
}

var errReadOnly = errors.New("opened for reading only")

// checkBatch refuses what could never be stored.
func checkBatch(b run.Batch) error {
	if len(b.Sweeps)*len(b.Sensors) > maxRowValues {
		return fmt.Errorf("%d sweeps of %d sensors: want %d values at most", len(b.Sweeps), len(b.Sensors), maxRowValues)
	}
	for i := range b.Sweeps {
		values := b.Sweeps[i].Values
		if len(values) > len(b.Sensors) {
			return fmt.Errorf("sweep %d has %d values for %d sensors", i, len(values), len(b.Sensors))
		}
		for j, v := range values {
			if math.IsInf(v, 0) {
				return fmt.Errorf("sensor %s %q reads %v: a reading is finite or missing (NaN)", b.Sensors[j].ID, b.Sensors[j].Instance, v)
			}
		}
	}
	return nil
}

func (s *Store) appendLocked(ctx context.Context, b run.Batch) (err error) {
	if err := s.checkPlace(ctx); err != nil {
		return err
	}
	w, err := s.seriesLocked(ctx, b)
	if err != nil {
		return err
	}
	// Until the rows are committed the chain is ahead of the file.
	s.recording.series = nil
	if err := s.appendRowLocked(ctx, w, b.Sensors, b.Sweeps); err != nil {
		return err
	}
	s.recording.series = w
	return nil
}

// seriesLocked is the series that the batch continues, or a new one.
func (s *Store) seriesLocked(ctx context.Context, b run.Batch) (*seriesWriter, error) {
	w := s.recording.series
	if w != nil && w.device == b.Device && w.runID == b.RunID {
		if at := w.firstDifference(b.Sensors); at < 0 {
			return w, nil
		} else if b.RunID != "" {
			return nil, w.reordered(b.Sensors, at)
		}
	}
	w = &seriesWriter{storedSeries: storedSeries{device: b.Device, runID: b.RunID, startedMs: b.Sweeps[0].At.Wall.UnixMilli(), format: packFormat}}
	if b.RunID == "" {
		return w, nil
	}
	if err := w.resume(ctx, s.write); err != nil {
		return nil, err
	}
	if at := w.firstDifference(b.Sensors); at >= 0 {
		return nil, w.reordered(b.Sensors, at)
	}
	return w, nil
}

// appendRowLocked stores the sweeps as the next row of the series.
func (s *Store) appendRowLocked(ctx context.Context, w *seriesWriter, sensors []run.Sensor, sweeps []run.Sweep) error {
	wider := w.grow(sensors)
	labels := w.place(sweeps)
	key := w.sinceKey == 0 || w.sinceKey >= keyEvery
	r := row{atMs: sweeps[0].At.Wall.UnixMilli(), sweeps: len(sweeps), data: w.pack(key, sweeps, labels, wider)}

	mono := sweeps[len(sweeps)-1].At.Mono
	flush := mono-s.recording.synced >= syncEvery || mono < s.recording.synced
	var err error
	if w.described() && !flush {
		err = s.insertRowLocked(ctx, w.nextRow(&r)...)
	} else {
		err = s.commit(ctx, flush, func(tx *sql.Tx) error {
			if err := w.describe(ctx, tx); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, insertReading, w.nextRow(&r)...)
			return err
		})
	}
	if err != nil {
		return err
	}
	if flush {
		s.recording.synced = mono
	}
	w.appended(key)
	return nil
}

const insertReading = `INSERT INTO readings (id, at_ms, sweeps, data) VALUES (?, ?, ?, ?)`

// insertRowLocked stores a row without a word about its series.
func (s *Store) insertRowLocked(ctx context.Context, row ...any) error {
	if s.recording.insert == nil {
		stmt, err := s.write.PrepareContext(ctx, insertReading)
		if err != nil {
			return err
		}
		s.recording.insert = stmt
	}
	_, err := s.recording.insert.ExecContext(ctx, row...)
	return err
}
