package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// SetReadings puts readings of one more sensor beside those of a run, see store.Corrector.
func (s *Store) SetReadings(ctx context.Context, d run.Record, sensor run.Sensor, values []float64) error {
	return s.fail("storing readings in", func() error {
		if s.write == nil {
			return errReadOnly
		}
		w, rows, err := s.repack(ctx, d.ID, sensor, values)
		if err != nil {
			return fmt.Errorf("run %s: %w", d.ID, err)
		}
		return s.commit(ctx, true, func(tx *sql.Tx) error {
			n, state, err := runState(ctx, tx, d.ID, keptRuns)
			if err != nil {
				return err
			}
			if state == run.Recording {
				return store.ErrStillRecording
			}
			r := newRunWriter(ctx, tx)
			return r.change(n, func(*run.Record) error {
				if err := w.replace(ctx, tx, rows); err != nil {
					return err
				}
				if _, err := r.exec(`UPDATE runs SET system_w = ? WHERE n = ?`, number(d.SystemW), n); err != nil {
					return err
				}
				return r.replaceParts(n, &d)
			})
		})
	}())
}

// repackedRow is how long the sweeps of a row are together, about.
const repackedRow = time.Second

// repack packs the sweeps of a run anew, with or without the sensor.
func (s *Store) repack(ctx context.Context, id string, sensor run.Sensor, values []float64) (*seriesWriter, []row, error) {
	t, err := s.Trace(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	stored := t.(*trace)
	if len(stored.series) != 1 || stored.series[0].damaged {
		return nil, nil, fmt.Errorf("%w: it has no readings, or damaged ones", run.ErrRefused)
	}
	old := &stored.series[0]
	w := &seriesWriter{storedSeries: storedSeries{id: old.id, device: old.device, runID: old.runID, startedMs: old.startedMs, format: packFormat}}
	at := slices.IndexFunc(old.sensors, func(x run.Sensor) bool { return x.ID == sensor.ID && x.Instance == sensor.Instance })
	sensors := slices.Clone(old.sensors)
	if at >= 0 {
		sensors = slices.Delete(sensors, at, at+1)
	}
	width := len(sensors)
	if values != nil {
		sensors = append(sensors, sensor)
	}
	var rows []row
	var sweeps []run.Sweep
	flush := func() {
		if len(sweeps) == 0 {
			return
		}
		wider := w.grow(sensors)
		labels := w.place(sweeps)
		key := w.sinceKey == 0 || w.sinceKey >= keyEvery
		r := row{atMs: sweeps[0].At.Wall.UnixMilli(), sweeps: len(sweeps), data: w.pack(key, sweeps, labels, wider)}
		stored := w.nextRow(&r)
		r.data = slices.Clone(stored[3].([]byte))
		rows = append(rows, r)
		w.appended(key)
		sweeps = sweeps[:0]
	}
	n := 0
	err = stored.Each(func(x run.Sweep) error {
		x.Values = slices.Clone(x.Values)
		for len(x.Values) < len(old.sensors) { // of before the last sensors came
			x.Values = append(x.Values, math.NaN())
		}
		if at >= 0 {
			x.Values = slices.Delete(x.Values, at, at+1)
		}
		if values != nil {
			if n >= len(values) {
				return fmt.Errorf("%w: it has more than %d sweeps", run.ErrRefused, len(values))
			}
			x.Values = append(x.Values[:width], values[n])
		}
		n++
		if len(sweeps) > 0 && x.At.Mono-sweeps[0].At.Mono >= repackedRow {
			flush()
		}
		sweeps = append(sweeps, x)
		return nil
	})
	flush()
	switch {
	case err != nil:
		return nil, nil, err
	case len(stored.Lost()) > 0:
		return nil, nil, fmt.Errorf("%w: readings of it are damaged", run.ErrRefused)
	case values != nil && n != len(values):
		return nil, nil, fmt.Errorf("%w: it has %d sweeps, not %d", run.ErrRefused, n, len(values))
	}
	return w, rows, nil
}

// replace puts rows in the place of those that the series has.
func (w *seriesWriter) replace(ctx context.Context, tx *sql.Tx, rows []row) error {
	for _, query := range []string{
		`DELETE FROM readings WHERE id BETWEEN ?1 << 32 AND ?1 << 32 | 0xffffffff`,
		`DELETE FROM series_sensors WHERE series = ?1`, `DELETE FROM series_labels WHERE series = ?1`,
	} {
		if _, err := tx.ExecContext(ctx, query, w.id); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, `UPDATE series SET format = ? WHERE id = ?`, packFormat, w.id); err != nil {
		return err
	}
	if err := w.describe(ctx, tx); err != nil {
		return err
	}
	for _, r := range rows {
		if _, err := tx.ExecContext(ctx, insertReading, r.id, r.atMs, r.sweeps, []byte(r.data)); err != nil {
			return err
		}
	}
	return closeSeries(ctx, tx, `SELECT ?`, w.id)
}
