package testday

import (
	"fmt"
	"time"
)

// runnerGuard watches that the runner is heard of while it carries out a workload.
type runnerGuard struct {
	allowed time.Duration
	busy    bool
	heard   time.Duration // when last, monotonic
}

func (g *runnerGuard) look(s *sight) *Tripped {
	silent := s.at.Mono - g.heard
	if !g.busy || silent <= g.allowed {
		return nil
	}
	return &Tripped{Guard: "runner", Waits: true, Text: fmt.Sprintf(
		"the runner, which carries out a workload, was not heard of for %.1f s (allowed: %g s)", silent.Seconds(), g.allowed.Seconds())}
}
