package testday

import (
	"fmt"
	"time"
)

// sweepsLate is how long no sweep may come while guards are armed. It is above what a read
// that hangs costs a sweep, and what a busy machine does. Common practice, no source.
const sweepsLate = 3 * time.Second

// awaitSweep is called when a sweep should have come, by a timer of its own: what samples may
// hang.
func (g *Guards) awaitSweep(a *armedGuards) {
	now := g.o.Now().Mono
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.armed != a {
		return
	}
	// The timer may have gone on while the machine slept, which this clock did not.
	silent := now - max(g.at.Mono, a.since)
	if silent < sweepsLate {
		a.timer.Reset(sweepsLate - max(silent, 0))
		return
	}
	g.tripLocked(Tripped{Guard: "sweeps", At: g.at, Text: fmt.Sprintf(
		"no sensor was read for %.1f s (allowed: %g s), so nothing watched the device", silent.Seconds(), sweepsLate.Seconds())})
}
