package agent

import "time"

// pacer wakes the sampling goroutine on a monotonic grid without drift.
type pacer interface {
	// Arm starts ticks every interval, the first one interval from now; 0
	// stops them.
	Arm(interval time.Duration) error
	// Wait blocks until a tick or a Wake and says which: ticked is true when
	// at least one tick is due. Ticks that were missed are merged into one.
	Wait() (ticked bool, err error)
	// Wake makes the present or next Wait return. Any goroutine may call it.
	Wake()
	Close() error
}
