//go:build !linux && !windows

package main

import "sweepd/collectors"

// machine lists the collectors of this system.
func machine(roots collectors.Roots) []collectors.Collector {
	return []collectors.Collector{
		collectors.NewOtherTemperatures(),
		collectors.NewHost(roots),
	}
}
