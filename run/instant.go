package run

import "time"

// Instant is one moment on three clocks.
type Instant struct {
	// Wall labels; it may be set at any time.
	Wall time.Time
	// Mono measures elapsed time and stands still while the machine sleeps
	// (CLOCK_MONOTONIC).
	Mono time.Duration
	// Boot is like Mono but goes on while the machine sleeps (CLOCK_BOOTTIME).
	Boot time.Duration
}
