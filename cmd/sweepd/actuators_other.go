//go:build !linux

package main

import (
	"sweepd/actuators"
	"sweepd/collectors"
)

// machineActuators lists what can be set on this system: what a command of the user's
// sets, and nothing else.
func machineActuators(_ collectors.Roots, c config) []actuators.Actuator {
	return []actuators.Actuator{c.commandActuator()}
}
