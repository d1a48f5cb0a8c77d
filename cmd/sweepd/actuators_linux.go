package main

import (
	"sweepd/actuators"
	"sweepd/collectors"
)

// machineActuators lists what can be set on this system, the most important first.
func machineActuators(roots collectors.Roots, c config) []actuators.Actuator {
	return []actuators.Actuator{
		actuators.NewFirmware(roots.Sys),
		actuators.NewPowercap(roots.Sys),
		actuators.NewGPU(roots.Sys),
		actuators.NewProfile(roots.Sys),
		actuators.NewCores(roots.Sys),
		actuators.NewGovernor(roots.Sys),
		actuators.NewEnergyPreference(roots.Sys),
		c.commandActuator(),
	}
}
