package main

import "sweepd/collectors"

// machine lists the collectors of this system, the most important first.
func machine(roots collectors.Roots) []collectors.Collector {
	return []collectors.Collector{
		collectors.NewPowerSupply(roots),
		collectors.NewPowercap(roots),
		collectors.NewFirmwareAttributes(roots),
		collectors.NewPlatformProfile(roots),
		collectors.NewHwmon(roots),
		collectors.NewThermal(roots),
		collectors.NewDRM(roots),
		collectors.NewCPUFreq(roots),
		collectors.NewCPUs(roots),
		collectors.NewThrottle(roots),
		collectors.NewPressure(roots),
		collectors.NewHost(roots),
	}
}
