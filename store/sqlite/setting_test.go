package sqlite

import (
	"testing"

	"sweepd/run"
	"sweepd/schedule"
)

// Older versions took 15W in a table's column setting for a name. A plan that was kept
// so asked for runs that never were its own.
func TestWattsThatWereKeptAsANameAreWatts(t *testing.T) {
	s := openTest(t)
	var slots []schedule.Slot
	for _, name := range []string{"15W", "12.50", "quiet", "15W-quiet"} {
		slots = append(slots, schedule.Slot{Pass: 1, Cell: run.Cell{Device: "unit-oak", Workload: "tile-sort", Setting: run.Named(name), Supply: run.Mains}})
	}
	_, err := s.NewPlan(t.Context(), schedule.Plan{CreatedAt: run.Stamp(noon), Slots: slots})
	must(t, err)
	p, err := s.Plan(t.Context())
	must(t, err)
	for i, want := range []run.Setting{run.Watts(15), run.Watts(12.5), run.Named("quiet"), run.Named("15W-quiet")} {
		if got := p.Slots[i].Setting; got != want {
			t.Errorf("slot %d is at %q, want %q", i+1, got, want)
		}
	}
}
