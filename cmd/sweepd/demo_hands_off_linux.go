package main

import (
	"fmt"
	"os"
	"time"

	"sweepd/actuators"
)

// What the demonstration sets of its device, and how long its workload plays: short, for
// somebody watches.
const (
	demoLeastW = 5
	demoMostW  = 30
	demoStepW  = 15
	demoSettle = 2 * time.Second
	demoPlays  = 12 * time.Second
	demoLong   = 5 * time.Minute
)

// handsOffOfDemo has the agent of demo --live do a plan by itself on its device, whatever
// the user's configuration allows for the real one.
func handsOffOfDemo(c *config, dir string) error {
	program, err := os.Executable()
	if err != nil {
		return fmt.Errorf("find this program, which plays the workloads: %w", err)
	}
	number := func(v float64) *float64 { return &v }
	c.HandsOff = &handsOff{Settle: span{demoSettle}}
	c.HandsOff.Actuators.Firmware = &actuators.Limits{Min: number(demoLeastW), Max: number(demoMostW), StepUp: number(demoStepW)}
	c.HandsOff.Actuators.Cores = &actuators.Limits{Min: number(2)}
	play := func(name string, more ...string) []string {
		return append([]string{program, "demo", "play", name, "--data", dir}, more...)
	}
	c.Workloads = map[string]workload{
		"harbour-flight": {Command: play("harbour-flight", "--for", demoPlays.String()), ResultFrom: []string{"fps_mean=: (.*)"}, Timeout: span{demoLong}},
		"tile-sort":      {Command: play("tile-sort"), ResultFrom: []string{"duration=: (.*)"}, Timeout: span{demoLong}},
	}
	c.Lower = append(c.Lower, "duration")
	return nil
}
