package agent

import (
	"time"

	"sweepd/run"
)

// Guard looks at every sweep while somebody relies on it, and acts by itself. The agent
// hands it what was swept and never waits for it.
type Guard interface {
	// Every is the longest time between two sweeps that the guard bears, and of the age
	// of batteries' readings; 0 while nobody relies on it. Any goroutine may call it.
	Every() time.Duration
	// Observe is called on the sampling goroutine after each sweep, with the sensors, their
	// values (NaN where missing) and the labels in force. It keeps neither slice, returns at
	// once and does not call the agent.
	Observe(at run.Instant, sensors []run.Sensor, values []float64, in run.Labels)
}
