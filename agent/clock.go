package agent

import "sweepd/run"

// Clock tells the time. The real one is SystemClock.
type Clock interface {
	Now() run.Instant
}
