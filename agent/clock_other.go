//go:build !linux && !windows

package agent

import (
	"time"

	"sweepd/run"
)

// SystemClock reads the machine's clocks. Where Boot and Mono cannot be told
// apart, a suspended machine shows as a sampling gap.
type SystemClock struct{}

var started = time.Now()

// Now reads the clocks.
func (SystemClock) Now() run.Instant {
	now := time.Now()
	elapsed := now.Sub(started)
	return run.Instant{Wall: now, Mono: elapsed, Boot: elapsed}
}
