package simdevice

import (
	"context"
	"time"
)

// AdvanceWithClock makes the device live along with a clock, for programs that
// use the real one: again and again it advances to now() and flushes, then waits
// for `every`. It returns nil when the context ends, or the first error of Flush.
func (d *Device) AdvanceWithClock(ctx context.Context, every time.Duration, now func() time.Time) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		d.AdvanceTo(now())
		if err := d.Flush(); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
		case <-tick.C:
		}
		if ctx.Err() != nil { // also where both have come
			return nil
		}
	}
}
