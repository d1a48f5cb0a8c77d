package collectors

import (
	"math"
	"time"
)

const (
	// meterSilence is how long a count may carry the same time. Common practice,
	// no source.
	meterSilence = 10 * time.Second
	// stampTick is the unit of a meter's times.
	stampTick = 100 * time.Nanosecond
	// longestStamp is how many of them a Duration holds.
	longestStamp = uint64(math.MaxInt64 / stampTick)
)

// stampedCount turns counts that carry the time at which they were taken into
// energy and power, whatever our clock says: a driver may give counts that it took
// long before it is asked.
type stampedCount struct {
	started bool
	first   uint64        // the time that the others are counted from, in ticks
	last    uint64        // the newest
	fresh   time.Duration // when it came, by our clock
	count   energyCount

	joules, watts float64
}

// next takes what was counted, in picowatt hours, and when, in 100 ns, and gives
// the energy in joules since the first and the mean power in watts over the time
// of the meter, as energyCount does. A count that was given before says nothing
// new: what it told holds, for meterSilence by our clock; then both are missing,
// with errMeterStands.
func (c *stampedCount) next(now time.Duration, pwh, stamp uint64) (joules, watts float64, err error) {
	if c.started && stamp == c.last {
		if now-c.fresh >= meterSilence {
			return math.NaN(), math.NaN(), errMeterStands
		}
		return c.joules, c.watts, nil
	}
	if !c.started || stamp < c.last || stamp-c.first > longestStamp { // or the meter began anew, and falls to 0
		c.first, c.count = stamp, energyCount{}
	}
	c.started, c.last, c.fresh = true, stamp, now
	c.joules, c.watts, err = c.count.next(time.Duration(stamp-c.first)*stampTick, meterMicrojoules(pwh))
	return c.joules, c.watts, err
}
