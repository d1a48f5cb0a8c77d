package sqlite

import (
	"context"
	"database/sql"
	"errors"

	"sweepd/run"
)

// label is what a sweep says besides its values.
type label struct {
	setting run.SourcedSetting
	supply  run.Supply
}

func labelOf(s *run.Sweep) label { return label{s.Setting, s.Supply} }

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

// seriesSensors are the sensors of a series, in their order.
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

// seriesLabels are the labels that sweeps of a series refer to, in their order.
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
