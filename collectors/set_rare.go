package collectors

import (
	"time"

	"sweepd/run"
)

const (
	// rareChange: a value that changes no oftener than this gains nothing from
	// being read at every sweep.
	rareChange = 2 * time.Second
	// rareAfter is how long that must hold before its probe is read off the
	// pacing path, once a second.
	rareAfter = 30 * time.Second
	// rareSearchEvery is how often the fast lane is searched for such probes, and the
	// longest time between two sweeps that tells how often a value changes.
	rareSearchEvery = 1100 * time.Millisecond
	// frequentReads in a row, a second apart, that each found a new value bring a
	// probe back into the fast lane.
	frequentReads = 2
)

// rareSearch finds the probes of the fast lane whose values rarely change.
type rareSearch struct {
	last  time.Duration // time of the last sweep
	since time.Duration // since when sweeps have been close enough together
	next  time.Duration // time of the next search
}

// findRare has rarely changing probes leave the fast lane. The caller holds
// sweeping.
func (s *Set) findRare(now time.Duration) {
	r := &s.rare
	if now-r.last > rareSearchEvery {
		r.since = now
	}
	r.last = now
	if now < r.next {
		return
	}
	r.next = now + rareSearchEvery
	for _, e := range s.fast {
		if e.frequentAt == 0 {
			e.frequentAt = now
		}
		if !e.everySweep && now-max(e.frequentAt, r.since) >= rareAfter {
			e.rare = true
			s.leaving = append(s.leaving, e)
		}
	}
}

// noteChange is called at each read that found a new value.
func (e *entry) noteChange(now time.Duration) {
	if now-e.changedAt < rareChange {
		e.frequentAt = now
	}
	e.changedAt = now
}

// wantedEverySweep tells whether some sensor is wanted at every sweep, however
// rarely it changes: power, because it is integrated; counters, because what they
// counted belongs to the labels of that moment; and what feeds the device,
// because runs are judged by it.
func wantedEverySweep(sensors []run.Sensor) bool {
	for _, s := range sensors {
		if s.Kind == run.Counter || s.Unit == "watts" || s.ID == run.SupplyOnline {
			return true
		}
	}
	return false
}
