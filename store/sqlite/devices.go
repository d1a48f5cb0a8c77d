package sqlite

import (
	"context"
	"database/sql"

	"sweepd/store"
)

// Devices lists the devices that have runs, see store.Runs.
func (s *Store) Devices(ctx context.Context) ([]store.DeviceRuns, error) {
	devices := []store.DeviceRuns{}
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var d store.DeviceRuns
		var first, last sql.NullString
		if err := rows.Scan(&d.Device, &d.Runs, &first, &last); err != nil {
			return err
		}
		from, err := parseStamp(first.String)
		if err != nil {
			return err
		}
		to, err := parseStamp(last.String)
		d.First, d.Last = from.Time, to.Time
		devices = append(devices, d)
		return err
	}, `SELECT device, count(*), min(started_at), max(started_at) FROM runs WHERE `+s.kept()+` GROUP BY device ORDER BY device`)
	return devices, s.fail("listing devices of", err)
}
