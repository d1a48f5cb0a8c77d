package agent

import (
	"context"
	"fmt"
	"time"
)

// Alive returns nil when the sampling loop answers and, in a run, sweeps. It is
// what a watchdog asks: one message through the loop's mailbox, and no sweep. It
// fails when ctx ends first.
func (a *Agent) Alive(ctx context.Context) error {
	return a.do(ctx, func() error {
		if a.run == nil { // idle sweeps come from the schedule, up to an hour apart
			return nil
		}
		if ago := a.opts.Clock.Now().Mono - a.last.Mono; ago > lateSweep+lateSweeps*a.opts.Interval {
			return fmt.Errorf("run %s is recording, but the last sweep was %v ago: the interval is %v", a.run.record.ID, ago.Round(time.Millisecond), a.opts.Interval)
		}
		return nil
	})
}

// A run's next sweep is given up for lost after lateSweep and lateSweeps
// intervals; common practice, no source.
const (
	lateSweep  = 10 * time.Second
	lateSweeps = 3
)
