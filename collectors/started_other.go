//go:build !linux

package collectors

import (
	"time"

	"github.com/shirou/gopsutil/v3/host"
)

// MachineStarted is when the machine was started, to some seconds, zero where nothing
// tells.
func MachineStarted(Roots) time.Time {
	seconds, err := host.BootTime()
	if err != nil || seconds == 0 {
		return time.Time{}
	}
	return time.Unix(int64(seconds), 0)
}
