package main

import "sweepd/collectors"

// machine lists the collectors of this system, the most important first.
func machine(roots collectors.Roots) []collectors.Collector {
	return []collectors.Collector{
		collectors.NewPower(),
		collectors.NewEnergyMeters(),
		collectors.NewOtherTemperatures(),
		collectors.NewHost(roots),
	}
}
