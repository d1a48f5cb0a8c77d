package testday

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// battery gives the bench one of so many watt-hours, which drains on battery as the plan
// estimates and charges on mains, and a plan that knows it.
func (b *bench) battery(t *testing.T, q schedule.Request, wh, chargeW float64) (lowest func() float64) {
	t.Helper()
	q.Devices, q.Workloads = []string{"unit-oak"}, []string{"harbour-flight"}
	b.estimates.Batteries = map[string]schedule.Battery{"": {FullWh: wh, ChargeW: chargeW}}
	p, err := schedule.NewPlan(q, b.estimates, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	p.ID = 3
	charge, low := 1.0, 1.0
	b.plan, b.charge = p, &charge
	go func() {
		const step = 5 * time.Second
		tick := time.NewTicker(step)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
			case <-t.Context().Done():
				return
			}
			b.mu.Lock()
			switch {
			case b.supply == run.Mains:
				charge = min(1, charge+chargeW*step.Hours()/wh)
			case b.record != nil:
				w, _ := b.record.Setting.Watts()
				charge -= (w + 8) * step.Hours() / wh
			default:
				charge -= 5 * step.Hours() / wh
			}
			low = min(low, charge)
			b.mu.Unlock()
		}
	}()
	return func() float64 { b.mu.Lock(); defer b.mu.Unlock(); return low }
}

// Batteries that last for a pass, for half of one, and for a few runs: the reserve is never
// touched, and hands stay rare: as far as they can runs on mains let the battery charge.
func TestChargesOfADay(t *testing.T) {
	for _, c := range []struct {
		wh, chargeW float64
		hands       int           // at most
		took        time.Duration // at most; the runs alone take 24 × 80 s and some seconds
	}{
		{20, 20, 2, 40 * time.Minute},
		{3.5, 10, 4, 55 * time.Minute},
		{1.5, 10, 12, 70 * time.Minute},
	} {
		t.Run(fmt.Sprint(c.wh, " Wh"), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				q := request([]string{"8", "15", "25"}, []string{"mains", "battery"}, []string{"", "cores=6"}, 2)
				b := newBench(t, q)
				low := b.battery(t, q, c.wh, c.chargeW)
				began := time.Now()
				d := b.begin(t, dataDir(t), nil)
				h := d.hands(12 * time.Hour)
				whole(24, 0)(t, b, h)
				if took := time.Since(began); h.Hands > c.hands || took > c.took || low() < 0.1 || h.Progress.Rejected > 0 {
					t.Errorf("%d hands in %v, lowest charge %.2f, %+v", h.Hands, took, low(), h.Progress)
				} else if testing.Verbose() {
					t.Logf("%d hands in %v, lowest charge %.2f", h.Hands, took, low())
				}
			})
		})
	}
}
