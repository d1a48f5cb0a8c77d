package agent

import (
	"sync"
	"time"
)

// slept keeps how long a machine slept, told from two coarse clocks of which one
// stands still meanwhile. They tick up to 16 ms apart from each other, so only a
// larger change counts.
type slept struct {
	mu    sync.Mutex
	begun bool
	first time.Duration // difference of the two at the beginning
	total time.Duration
}

// sleptResolution is above two ticks of 15.6 ms and far below any real suspend.
const sleptResolution = 100 * time.Millisecond

// observe takes the difference of the two clocks and gives the time slept since
// the first call.
func (s *slept) observe(difference time.Duration) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.begun {
		s.begun, s.first = true, difference
	}
	if now := difference - s.first; now-s.total > sleptResolution {
		s.total = now
	}
	return s.total
}
