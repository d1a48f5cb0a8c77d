package sqlite

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"hash/crc32"

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

// storedSeries is a series as the file has it.
type storedSeries struct {
	id            int64
	device, runID string // runID is "" for idle sweeps
	startedMs     int64
	format        int
	rows          sql.NullInt64 // position after the last row; NULL: it may grow
	sensors       []run.Sensor
	labels        []label
	damaged       bool // it does not have the checksum it was stored with

	// places says where each sensor stands among the trace's; nil: the same.
	places []int
}

// seriesRun is the id of the run r of a series x, ” for idle sweeps.
const seriesRun = `CASE WHEN x.run IS NULL THEN '' ELSE coalesce(r.id, 'a run that is gone') END`

// readSeries reads a series. A file of version 1 has no checksums.
func readSeries(ctx context.Context, q reader, id int64, version int) (x storedSeries, err error) {
	x.id = id
	checksum, known := sql.NullInt64{}, "series_checksums"
	if version < 2 {
		known = "(SELECT NULL AS series, NULL AS row_count, NULL AS checksum)"
	}
	err = q.QueryRowContext(ctx, `SELECT x.device, `+seriesRun+`, started_ms, format, row_count, checksum
		FROM series x LEFT JOIN runs r ON r.n = x.run LEFT JOIN `+known+` c ON c.series = x.id WHERE x.id = ?`, id).
		Scan(&x.device, &x.runID, &x.startedMs, &x.format, &x.rows, &checksum)
	if err != nil {
		return x, err
	}
	if x.sensors, err = seriesSensors(ctx, q, id); err != nil {
		return x, err
	}
	x.labels, err = seriesLabels(ctx, q, id)
	x.damaged = version >= 2 && (!checksum.Valid || checksum.Int64 != int64(x.sum()))
	return x, err
}

// identity is the checksum of what a series is told by in every file that has it.
func (x *storedSeries) identity() uint32 {
	var s summer
	return s.add(0, x.device, x.runID, x.startedMs)
}

// sum is the checksum of a series without its readings.
func (x *storedSeries) sum() uint32 {
	var s summer
	sum := s.add(x.identity(), x.format, &x.rows, len(x.sensors))
	for _, y := range x.sensors {
		sum = s.add(sum, y.ID, y.Instance, y.Unit, y.Kind.String(), y.Source, y.Resolution)
	}
	for _, l := range x.labels {
		sum = s.add(sum, watts(l.setting.Setting), l.setting.Name(), string(l.setting.Source), string(l.supply))
	}
	return sum
}

// strayed tells whether a series is gone, or is told to be another's: of a damaged device
// or start, no query finds it.
func strayed(ctx context.Context, q rowsQueryer) (found bool, err error) {
	err = each(ctx, q, func(rows *sql.Rows) error {
		var x storedSeries
		var started sql.NullInt64
		var identity int64
		err := rows.Scan(&x.device, &x.runID, &started, &identity)
		x.startedMs = started.Int64
		found = found || !started.Valid || identity != int64(x.identity())
		return err
	}, `SELECT coalesce(x.device, ''), `+seriesRun+`, started_ms, identity
		FROM series_checksums LEFT JOIN series x ON x.id = series LEFT JOIN runs r ON r.n = x.run`)
	return found, err
}

// seal stores the checksum of the series as it is.
func (x *storedSeries) seal(ctx context.Context, tx *sql.Tx) error {
	_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO series_checksums VALUES (?, ?, ?, ?)`, x.id, int64(x.identity()), x.rows, int64(x.sum()))
	return err
}

// close notes that no row will be added to the series.
func (x *storedSeries) close(ctx context.Context, tx *sql.Tx) error {
	if x.damaged || x.rows.Valid {
		return nil
	}
	last := sql.NullInt64{}
	err := tx.QueryRowContext(ctx, `SELECT max(id) FROM readings WHERE id BETWEEN ? AND ?`, x.id<<32, x.id<<32|0xffffffff).Scan(&last)
	if err != nil {
		return err
	}
	x.rows = sql.NullInt64{Valid: true}
	if last.Valid {
		x.rows.Int64 = last.Int64&0xffffffff + 1
	}
	return x.seal(ctx, tx)
}

// closeSeries closes the series that a query selects.
func closeSeries(ctx context.Context, tx *sql.Tx, query string, args ...any) error {
	ids, err := numbers(ctx, tx, query, args...)
	for _, id := range ids {
		x, err := readSeries(ctx, tx, id, Version)
		if err == nil {
			err = x.close(ctx, tx)
		}
		if err != nil {
			return err
		}
	}
	return err
}

// sealSeries gives a series as it is its checksum, and its rows where they have none.
func sealSeries(ctx context.Context, tx *sql.Tx, id int64) error {
	x, err := readSeries(ctx, tx, id, Version)
	if err != nil {
		return err
	}
	return x.sealRows(ctx, tx)
}

// sealRows gives the rows of a series that an older version wrote their checksums, and
// the series its own.
func (x *storedSeries) sealRows(ctx context.Context, tx *sql.Tx) error {
	if x.format == packFormat {
		return x.seal(ctx, tx)
	}
	identity := x.identity()
	first, end := x.id<<32, x.id<<32|0xffffffff
	for first <= end {
		var rows []row
		err := each(ctx, tx, func(r *sql.Rows) error {
			var x row
			err := r.Scan(&x.id, &x.atMs, &x.sweeps, (*[]byte)(&x.data))
			rows = append(rows, x)
			return err
		}, `SELECT id, at_ms, sweeps, data FROM readings WHERE id BETWEEN ? AND ? ORDER BY id LIMIT 1000`, first, end)
		if err != nil {
			return err
		}
		for _, r := range rows {
			sealed := r.seal(identity)
			if _, err := tx.ExecContext(ctx, `UPDATE readings SET data = ? WHERE id = ?`, sealed, r.id); err != nil {
				return err
			}
		}
		if len(rows) == 0 {
			break
		}
		first = rows[len(rows)-1].id + 1
	}
	x.format = packFormat
	if _, err := tx.ExecContext(ctx, `UPDATE series SET format = ? WHERE id = ?`, packFormat, x.id); err != nil {
		return err
	}
	return x.seal(ctx, tx)
}

// row is one of the table readings.
type row struct {
	id, atMs int64
	sweeps   int
	data     sql.RawBytes
}

// rowSum is how many bytes the checksum at the end of a row's data takes.
const rowSum = 4

// sum is the checksum of a row of the series of this identity.
func (r *row) sum(identity uint32, data []byte) uint32 {
	var s summer
	return crc32.Update(s.add(identity, r.id&0xffffffff, r.atMs, r.sweeps), castagnoli, data)
}

// seal is the data with its checksum.
func (r *row) seal(identity uint32) []byte {
	return binary.BigEndian.AppendUint32(r.data, r.sum(identity, r.data))
}

// open is the data without its checksum, false where that is another.
func (r *row) open(identity uint32) (data []byte, ok bool) {
	at := len(r.data) - rowSum
	if at < 0 || binary.BigEndian.Uint32(r.data[at:]) != r.sum(identity, r.data[:at]) {
		return nil, false
	}
	return r.data[:at], true
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
