package sqlite

import (
	"context"
	"database/sql"
	"maps"
	"slices"

	"sweepd/run"
	"sweepd/store"
)

// Devices lists the devices that have runs, see store.Runs.
func (s *Store) Devices(ctx context.Context) ([]store.DeviceRuns, error) {
	var r runReader
	var machines map[string]run.Machines
	err := inTx(ctx, s.read, func(tx *sql.Tx) (err error) {
		if r, err = s.readRunsIn(ctx, tx, s.selected(store.Filter{}), rowOnly); err == nil {
			machines, err = machinesOf(ctx, tx, s.kept())
		}
		return err
	})
	byName := map[string]store.DeviceRuns{}
	for _, one := range r.usable() {
		d := byName[one.Device]
		if at := one.StartedAt.Time; !at.IsZero() {
			if d.Last = at; d.First.IsZero() { // they come in the order of their starts
				d.First = at
			}
		}
		d.Device = one.Device
		d.Runs++
		byName[d.Device] = d
	}
	devices := make([]store.DeviceRuns, 0, len(byName))
	for _, name := range slices.Sorted(maps.Keys(byName)) {
		d := byName[name]
		d.Machines = machines[name]
		devices = append(devices, d)
	}
	return devices, s.fail("listing devices of", err)
}

// machinesOf are the machines that runs of each device tell of in their facts.
func machinesOf(ctx context.Context, q rowsQueryer, kept string) (map[string]run.Machines, error) {
	sets, err := loadFactSets(ctx, q)
	if err != nil {
		return nil, err
	}
	all := map[string]run.Machines{}
	return all, each(ctx, q, func(rows *sql.Rows) error {
		var device string
		var set int64
		err := rows.Scan(&device, &set)
		list := all[device]
		list.Add(run.MachineOf(sets[set].facts))
		all[device] = list
		return err
	}, `SELECT DISTINCT device, fact_set FROM runs WHERE fact_set IS NOT NULL AND `+kept+` ORDER BY device, fact_set`)
}
