package testday

import (
	"context"
	"fmt"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// A day goes on by itself after a restart of its agent, which takes seconds. Where the file
// tells of a day longer ago, or of one in the future, nobody may be in reach any more: then
// somebody has to say so. The file is written at least each awaySaves. Common practice, no
// source.
const (
	awayMost  = 30 * time.Minute
	awaySaves = 5 * time.Minute
)

// away says that the agent was away for long; "" where it was not.
func (k *handsOffKept) away(now time.Time) string {
	switch gone := now.Sub(k.SavedAt.Time); {
	case gone < -time.Minute:
		return fmt.Sprintf("by the clock, the agent ended %s from now: resume goes on, with somebody in reach", hours(-gone))
	case gone > awayMost:
		return fmt.Sprintf("the device, or its agent, was away for %s: resume goes on, with somebody in reach", hours(gone))
	}
	return ""
}

func hours(d time.Duration) string { return sentence.Clock(analysis.Number(d.Hours())) }

// saveNowAndThen writes the file now and then until ctx ends.
func (d *HandsOffDay) saveNowAndThen(ctx context.Context) {
	tick := time.NewTicker(awaySaves)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			d.keep(func(*handsOffKept) {})
		case <-ctx.Done():
			return
		}
	}
}
