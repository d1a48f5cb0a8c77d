package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
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

// Append stores sweeps; when it returns, a killed process loses none of them.
// Values are kept to the sensor's resolution, monotonic time to the
// microsecond, boot and wall time within 20 us. Infinite values and sensors
// that changed place are refused, and nothing of the batch is stored.
//
// At least every 25 s of sweeps it waits until the disk has them.
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

func checkBatch(b run.Batch) error {
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
	w = &seriesWriter{device: b.Device, runID: b.RunID, startedMs: b.Sweeps[0].At.Wall.UnixMilli()}
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

func (s *Store) appendRowLocked(ctx context.Context, w *seriesWriter, sensors []run.Sensor, sweeps []run.Sweep) error {
	wider := w.grow(sensors)
	labels := w.place(sweeps)
	key := w.sinceKey == 0 || w.sinceKey >= keyEvery
	data := w.pack(key, sweeps, labels, wider)
	atMs := sweeps[0].At.Wall.UnixMilli()

	mono := sweeps[len(sweeps)-1].At.Mono
	flush := mono-s.recording.synced >= syncEvery || mono < s.recording.synced
	var err error
	if w.described() && !flush {
		err = s.insertRowLocked(ctx, w.nextRow(), atMs, len(sweeps), data)
	} else {
		err = s.commit(ctx, flush, func(tx *sql.Tx) error {
			if err := w.describe(ctx, tx); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, insertReading, w.nextRow(), atMs, len(sweeps), data)
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

func (s *Store) insertRowLocked(ctx context.Context, id, atMs int64, sweeps int, data []byte) error {
	if s.recording.insert == nil {
		stmt, err := s.write.PrepareContext(ctx, insertReading)
		if err != nil {
			return err
		}
		s.recording.insert = stmt
	}
	_, err := s.recording.insert.ExecContext(ctx, id, atMs, sweeps, data)
	return err
}

// commit runs f in a transaction. With flush the disk has it on return, else a
// power cut may still take it.
func (s *Store) commit(ctx context.Context, flush bool, f func(*sql.Tx) error) error {
	if s.write == nil {
		return errReadOnly
	}
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
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// seriesWriter is the series that Append is writing.
type seriesWriter struct {
	packer
	device, runID string
	startedMs     int64
	id            int64 // 0: no row yet
	next          int64 // position of the next row
	sinceKey      int   // rows since the last key row, counting it; 0: none yet

	sensors []run.Sensor
	labels  []label
	places  []int                         // reused by place
	known   struct{ sensors, labels int } // how many of them the file has
}

// label is what a sweep says besides its values.
type label struct {
	setting run.SourcedSetting
	supply  run.Supply
}

func labelOf(s *run.Sweep) label { return label{s.Setting, s.Supply} }

// firstDifference is the first place where sensors differ from the series', -1
// where it can go on.
func (w *seriesWriter) firstDifference(sensors []run.Sensor) int {
	for i := range min(len(sensors), len(w.sensors)) {
		if sensors[i] != w.sensors[i] {
			return i
		}
	}
	return -1
}

func (w *seriesWriter) reordered(sensors []run.Sensor, at int) error {
	return fmt.Errorf("%w: sensor %d of run %s was %s %q and is now %s %q: sensors of a run keep their places",
		run.ErrRefused, at, w.runID, w.sensors[at].ID, w.sensors[at].Instance, sensors[at].ID, sensors[at].Instance)
}

func (w *seriesWriter) grow(sensors []run.Sensor) bool {
	if len(sensors) <= len(w.sensors) {
		return false
	}
	w.sensors = append(w.sensors, sensors[len(w.sensors):]...)
	w.packer.grow(w.sensors)
	return true
}

// place finds each sweep's label among the series' labels, and adds new ones.
func (w *seriesWriter) place(sweeps []run.Sweep) []int {
	places := grown(w.places, len(sweeps))
	for i := range sweeps {
		l := labelOf(&sweeps[i])
		at := slices.Index(w.labels, l)
		if at < 0 {
			at = len(w.labels)
			w.labels = append(w.labels, l)
		}
		places[i] = at
	}
	w.places = places
	return places
}

func (w *seriesWriter) nextRow() int64 { return w.id<<32 | w.next }

func (w *seriesWriter) appended(key bool) {
	w.next++
	w.sinceKey++
	if key {
		w.sinceKey = 1
	}
}

// described tells whether the file knows all that the next row refers to.
func (w *seriesWriter) described() bool {
	return w.id != 0 && w.known.sensors == len(w.sensors) && w.known.labels == len(w.labels)
}
