//go:build !linux && !windows

package collectors

// readPlatform has nothing to add to what gopsutil tells.
func (f facts) readPlatform(Roots) {}
