package simdevice

import (
	"math"
	"time"
)

// throttle lowers the package below its limit while the die is too hot, and
// counts as the kernel does: entries, and the time of events that have ended.
type throttle struct {
	active bool
	capW   float64 // cap in force while active
	since  time.Duration

	events uint64
	total  time.Duration // of ended events
	most   time.Duration
}

// throttleC is the die temperature that the package must not pass.
const throttleC = 95

// Speeds of the throttle's own regulation, W/s.
const (
	throttleDown = 6.0 // for each kelvin above the limit
	throttleUp   = 1.5 // while below it
)

// regulate is called once for each time step with the die temperature, the package's
// power and the limit that holds without throttling. It returns the cap to obey.
func (t *throttle) regulate(now time.Duration, dieC, packageW, limitW, leastW float64) float64 {
	if !t.active {
		if dieC < throttleC {
			return math.Inf(1)
		}
		t.active, t.capW, t.since = true, packageW, now
		t.events++
	}
	over := dieC - throttleC
	switch {
	case over > 0:
		t.capW = math.Max(leastW, t.capW-throttleDown*over*timeStep.Seconds())
	case over < -1:
		t.capW += throttleUp * timeStep.Seconds()
	}
	if t.capW >= limitW || over < -10 {
		t.active = false
		t.total += now - t.since
		t.most = max(t.most, now-t.since)
		return math.Inf(1)
	}
	return t.capW
}
