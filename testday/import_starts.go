package testday

import (
	"fmt"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// startsHere are the runs of a device and workload that are here.
type startsHere struct {
	ids map[string]bool
	at  map[int64][]run.Timestamp // by the second
	id  map[run.Timestamp]string
}

// startsAsOneHere tells whether a row without an id is of a run that is here under another
// one: no device begins two runs of a workload within a second. A start that is written
// less precisely tells nothing.
func (t *editedTable) startsAsOneHere(d *run.Record) (bool, error) {
	if t.row.StartedTo == 0 || t.row.StartedTo > time.Second {
		return false, nil
	}
	here, err := t.startsOf(d)
	if err != nil || here.ids[d.ID] || slices.ContainsFunc(d.Former, func(id string) bool { return here.ids[id] }) {
		return false, err
	}
	second := d.StartedAt.Unix()
	near := slices.Concat(here.at[second-1], here.at[second])
	near = slices.DeleteFunc(near, func(at run.Timestamp) bool { return !sameStart(d.StartedAt, at, t.row.StartedTo) })
	if len(near) != 1 {
		return false, nil
	}
	if t.started++; t.example == "" {
		t.example = fmt.Sprintf("line %d: run %s", t.row.Line, run.ShortID(here.id[near[0]]))
	}
	return true, nil
}

func (t *editedTable) startsOf(d *run.Record) (*startsHere, error) {
	of := run.Cell{Device: d.Device, Workload: d.Workload}
	if here := t.starts[of]; here != nil {
		return here, nil
	}
	runs, err := t.store.Runs(t.ctx, store.Filter{Device: d.Device, Workload: d.Workload})
	if err != nil {
		return nil, err
	}
	here := &startsHere{map[string]bool{}, map[int64][]run.Timestamp{}, map[run.Timestamp]string{}}
	for _, r := range runs {
		here.ids[r.ID] = true
		if !r.StartedAt.IsZero() {
			here.at[r.StartedAt.Unix()] = append(here.at[r.StartedAt.Unix()], r.StartedAt)
			here.id[r.StartedAt] = r.ID
		}
	}
	if t.starts == nil {
		t.starts = map[run.Cell]*startsHere{}
	}
	t.starts[of] = here
	return here, nil
}
