package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"sweepd/run"
)

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
	if w.sensors, err = seriesSensors(ctx, db, w.id); err != nil {
		return err
	}
	if w.labels, err = seriesLabels(ctx, db, w.id); err != nil {
		return err
	}
	w.packer.grow(w.sensors)
	w.known.sensors, w.known.labels = len(w.sensors), len(w.labels)
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
	}
	for i := w.known.sensors; i < len(w.sensors); i++ {
		id, err := sensorID(ctx, tx, w.sensors[i])
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO series_sensors VALUES (?, ?, ?)`, w.id, i, id); err != nil {
			return err
		}
	}
	for i := w.known.labels; i < len(w.labels); i++ {
		l := w.labels[i]
		if _, err := tx.ExecContext(ctx, `INSERT INTO series_labels VALUES (?, ?, ?, ?, ?, ?)`,
			w.id, i, watts(l.setting.Setting), l.setting.Name(), string(l.setting.Source), string(l.supply)); err != nil {
			return err
		}
	}
	w.known.sensors, w.known.labels = len(w.sensors), len(w.labels)
	return nil
}

// sensorID finds or adds a sensor.
func sensorID(ctx context.Context, tx *sql.Tx, s run.Sensor) (id int64, err error) {
	args := []any{s.ID, s.Instance, s.Unit, s.Kind.String(), s.Source, s.Resolution}
	err = tx.QueryRowContext(ctx, `SELECT id FROM sensors
		WHERE sensor = ? AND instance = ? AND unit = ? AND kind = ? AND source = ? AND resolution = ?`, args...).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	r, err := tx.ExecContext(ctx, `INSERT INTO sensors (sensor, instance, unit, kind, source, resolution)
		VALUES (?, ?, ?, ?, ?, ?)`, args...)
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

type rowsQueryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
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

func seriesSensors(ctx context.Context, q rowsQueryer, series int64) (sensors []run.Sensor, err error) {
	err = each(ctx, q, func(rows *sql.Rows) error {
		var s run.Sensor
		var kind string
		if err := rows.Scan(&s.ID, &s.Instance, &s.Unit, &kind, &s.Source, &s.Resolution); err != nil {
			return err
		}
		if kind == run.Counter.String() {
			s.Kind = run.Counter
		}
		sensors = append(sensors, s)
		return nil
	}, `SELECT s.sensor, instance, unit, kind, source, resolution
		FROM series_sensors x JOIN sensors s ON s.id = x.sensor WHERE series = ? ORDER BY position`, series)
	return sensors, err
}

func seriesLabels(ctx context.Context, q rowsQueryer, series int64) (labels []label, err error) {
	err = each(ctx, q, func(rows *sql.Rows) error {
		var watts *float64
		var name string
		var l label
		if err := rows.Scan(&watts, &name, (*string)(&l.setting.Source), (*string)(&l.supply)); err != nil {
			return err
		}
		l.setting.Setting = setting(watts, name)
		labels = append(labels, l)
		return nil
	}, `SELECT setting_w, setting, setting_source, supply FROM series_labels WHERE series = ? ORDER BY position`, series)
	return labels, err
}
