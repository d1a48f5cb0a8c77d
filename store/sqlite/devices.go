package sqlite

import (
	"context"
	"maps"
	"slices"

	"sweepd/store"
)

// Devices lists the devices that have runs, see store.Runs.
func (s *Store) Devices(ctx context.Context) ([]store.DeviceRuns, error) {
	r, err := s.readRuns(ctx, s.selected(store.Filter{}), rowOnly)
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
		devices = append(devices, byName[name])
	}
	return devices, s.fail("listing devices of", err)
}
