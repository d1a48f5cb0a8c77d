package agent

import (
	"sync"
	"time"
)

// slept tells a clock that stands still while a machine sleeps from one that goes
// on, by two further clocks that differ in the same and tick coarsely: up to 16 ms
// apart from each other, so only a larger change counts.
type slept struct {
	mu    sync.Mutex
	begun bool
	first time.Duration // difference of the two at the beginning
	total time.Duration // slept since then
	last  time.Duration
}

// sleptResolution is above two ticks of 15.6 ms and far below any real suspend.
const sleptResolution = 100 * time.Millisecond

// awake takes the time on the clock that goes on and the difference of the two
// coarse ones, and gives the time without sleep. It never falls.
func (s *slept) awake(elapsed, difference time.Duration) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.begun {
		s.begun, s.first = true, difference
	}
	if now := difference - s.first; now-s.total > sleptResolution {
		s.total = now
	}
	s.last = max(s.last, elapsed-s.total)
	return s.last
}
