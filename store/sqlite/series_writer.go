package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"sweepd/run"
)

// seriesWriter is the series that Append is writing.
type seriesWriter struct {
	packer
	storedSeries       // id is 0 before the first row
	next         int64 // position of the next row
	sinceKey     int   // rows since the last key row, counting it; 0: none yet

	places []int                         // reused by place
	stored struct{ sensors, labels int } // how many of them the file has
}

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

// nextRow has what is stored of the row r, which is the next one.
func (w *seriesWriter) nextRow(r *row) []any {
	r.id = w.id<<32 | w.next
	w.out = r.seal(w.identity())
	return []any{r.id, r.atMs, r.sweeps, w.out}
}

func (w *seriesWriter) appended(key bool) {
	w.next++
	w.sinceKey++
	if key {
		w.sinceKey = 1
	}
}

// described tells whether the file has all that the next row refers to.
func (w *seriesWriter) described() bool {
	return w.id != 0 && w.stored.sensors == len(w.sensors) && w.stored.labels == len(w.labels)
}

// resume finds what the file has of the run's series, if anything.
func (w *seriesWriter) resume(ctx context.Context, db *sql.DB) error {
	var n int64
	err := db.QueryRowContext(ctx, `SELECT n FROM runs WHERE id = ?`, w.runID).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("run %s: %w", w.runID, run.ErrNoRun)
	} else if err != nil {
		return err
	}
	err = db.QueryRowContext(ctx, `SELECT id FROM series WHERE run = ?`, n).Scan(&w.id)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	} else if err != nil {
		return err
	}
	if w.storedSeries, err = readSeries(ctx, db, w.id, Version); err != nil {
		return err
	}
	if w.damaged {
		return fmt.Errorf("run %s: its sensors and settings %w", w.runID, errChecksum)
	}
	w.packer.grow(w.sensors)
	w.stored.sensors, w.stored.labels = len(w.sensors), len(w.labels)
	var last sql.NullInt64
	if err := db.QueryRowContext(ctx, `SELECT max(id) FROM readings WHERE id BETWEEN ? AND ?`, w.id<<32, w.id<<32|0xffffffff).Scan(&last); err != nil {
		return err
	}
	if last.Valid {
		w.next = last.Int64&0xffffffff + 1
	}
	return nil
}

// describe stores the series, its new sensors and its new labels.
func (w *seriesWriter) describe(ctx context.Context, tx *sql.Tx) error {
	if w.id == 0 {
		r, err := tx.ExecContext(ctx, `INSERT INTO series (device, run, started_ms, format)
			VALUES (?, (SELECT n FROM runs WHERE id = ?), ?, ?)`, w.device, w.runID, w.startedMs, packFormat)
		if err != nil {
			return err
		}
		if w.id, err = r.LastInsertId(); err != nil {
			return err
		}
		if w.runID == "" { // the idle sweeps before a run, or of an agent that was there before
			if err := closeSeries(ctx, tx, `SELECT id FROM series JOIN series_checksums ON series = id
				WHERE run IS NULL AND device = ? AND row_count IS NULL`, w.device); err != nil {
				return err
			}
		}
	}
	for i := w.stored.sensors; i < len(w.sensors); i++ {
		id, err := sensorID(ctx, tx, w.sensors[i])
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO series_sensors VALUES (?, ?, ?)`, w.id, i, id); err != nil {
			return err
		}
	}
	for i := w.stored.labels; i < len(w.labels); i++ {
		l := w.labels[i]
		if _, err := tx.ExecContext(ctx, `INSERT INTO series_labels VALUES (?, ?, ?, ?, ?, ?)`,
			w.id, i, watts(l.setting.Setting), l.setting.Name(), string(l.setting.Source), string(l.supply)); err != nil {
			return err
		}
	}
	w.stored.sensors, w.stored.labels = len(w.sensors), len(w.labels)
	return w.seal(ctx, tx)
}
