package collectors

import (
	"math"
	"time"
)

const (
	// plausibleWatts is more than any zone of a portable machine draws, for
	// however short. Common practice, no source. Once a counter with a range
	// of 262 kJ was not read for 524 s, nobody can say whether it wrapped.
	plausibleWatts = 500
	// refreshSlack is how late a counter may be with what it counts.
	refreshSlack = time.Second
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
	total   int64 // since the first reading, or since the last that was in doubt

	powerFrom   int64 // total and time at which the present mean begins
	powerFromAt time.Duration
	power       float64
}

// next takes a reading and gives the energy in joules since the counter was
// opened, and the mean power in watts since the last reading at least 10 ms
// ago, NaN at first. Where it may have wrapped unseen, or was reset, both are
// missing once and the energy starts again from 0.
func (c *energyCount) next(now time.Duration, raw int64) (joules, watts float64) {
	step, sure := c.step(now, raw)
	opened := !c.started
	c.started, c.raw, c.at = true, raw, now
	if opened || !sure {
		c.total, c.powerFrom, c.powerFromAt, c.power = 0, 0, now, math.NaN()
		if opened {
			return 0, c.power
		}
		return math.NaN(), math.NaN()
	}
	c.total += step
	// A counter that stands still was not refreshed yet: its last mean power
	// holds, and the next one begins where the last ended. Only one that stands
	// still for long says that nothing is drawn.
	if dt := now - c.powerFromAt; dt >= shortestMean && (c.total > c.powerFrom || dt >= stillFor) {
		c.power = float64(c.total-c.powerFrom) / 1e6 / dt.Seconds()
		c.powerFrom, c.powerFromAt = c.total, now
	}
	return float64(c.total) / 1e6, c.power
}

// step is the energy since the previous reading, false where it is in doubt.
// After a decrease it is range - previous + current (powercap.rst).
func (c *energyCount) step(now time.Duration, raw int64) (int64, bool) {
	gap := (now - c.at + refreshSlack).Seconds()
	if c.span > 0 && (now-c.at).Seconds()*plausibleWatts > float64(c.span)/1e6 {
		return 0, false
	}
	if raw >= c.raw {
		return raw - c.raw, true
	}
	step := c.span - c.raw + raw
	return step, step >= 0 && float64(step)/1e6 <= gap*plausibleWatts
}
