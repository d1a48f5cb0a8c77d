package collectors

import (
	"fmt"
	"math"
	"time"

	"sweepd/run"
)

const (
	// shortestMean is the time below which the mean power is not worked out
	// anew, since the counter's own refresh (about 1 ms) would show in it.
	shortestMean = 10 * time.Millisecond
	// stillFor is how long a counter may stand still between refreshes.
	stillFor = time.Second
)

// energyCount turns what a counter shows into energy and power. All energies
// are in microjoules.
type energyCount struct {
	span    int64 // max_energy_range_uj; 0 unknown
	started bool  // something was read
	raw     int64
	at      time.Duration
	changed time.Duration // when raw changed last
	total   int64         // since the first reading, or since the last reset

	powerFrom   int64 // total and time at which the present mean begins
	powerFromAt time.Duration
	power       float64
}

// next takes a reading and gives the energy in joules since the counter was
// opened, and the mean power in watts since the last reading at least 10 ms
// ago, NaN at first.
//
// What no such counter can have counted is an error: the power is missing then.
// A rise stands in the energy, so that whoever adds it up sees when and how far
// it leapt; where the counter was reset, or may have wrapped unseen, the energy
// starts again from 0.
func (c *energyCount) next(now time.Duration, raw int64) (joules, watts float64, err error) {
	step := int64(0)
	if c.started {
		step, err = c.step(now, raw)
	} else {
		c.started, c.changed, c.power = true, now-run.CounterLate, math.NaN()
		c.raw, c.powerFromAt = raw, now
	}
	if raw != c.raw {
		c.changed = now
	}
	c.raw, c.at = raw, now
	c.total += step
	if err != nil {
		c.powerFrom, c.powerFromAt, c.power = c.total, now, math.NaN()
	}
	// A counter that stands still was not refreshed yet: its last mean power
	// holds, and the next one begins where the last ended. Only one that stands
	// still for long says that nothing is drawn.
	if dt := now - c.powerFromAt; dt >= shortestMean && (c.total > c.powerFrom || dt >= stillFor) {
		c.power = float64(c.total-c.powerFrom) / 1e6 / dt.Seconds()
		c.powerFrom, c.powerFromAt = c.total, now
	}
	return float64(c.total) / 1e6, c.power, err
}

// step is the energy since the previous reading. After a decrease it is range -
// previous + current (powercap.rst).
func (c *energyCount) step(now time.Duration, raw int64) (int64, error) {
	if gap := (now - c.at).Seconds(); c.span > 0 && gap*run.PlausibleWatts > float64(c.span)/1e6 {
		// With a range of 262 kJ after 524 s nobody can say whether it wrapped.
		return -c.total, fmt.Errorf("the counter was not read for %.0f s and may have wrapped unseen", gap)
	}
	step, most := raw-c.raw, run.PlausibleRise(now-c.changed)
	if step < 0 {
		step += c.span
	}
	switch {
	case step >= 0 && float64(step)/1e6 <= most:
		return step, nil
	case raw < c.raw:
		return -c.total, fmt.Errorf("the counter fell from %d to %d µJ: it was reset", c.raw, raw)
	}
	return step, fmt.Errorf("the counter leapt from %d to %d µJ within %.2f s: beyond the %d W of any part of a portable computer", c.raw, raw, (now - c.at).Seconds(), run.PlausibleWatts)
}
