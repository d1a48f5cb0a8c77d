package collectors

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"time"
)

// MachineStarted is when the machine was started, zero where nothing tells: btime of
// proc/stat (Documentation/filesystems/proc.rst), which follows where the clock is set.
// gopsutil counts back from the uptime by its own clock, and remembers that.
func MachineStarted(roots Roots) time.Time {
	f, err := os.Open(roots.proc("stat"))
	if err != nil {
		return time.Time{}
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if text, found := strings.CutPrefix(lines.Text(), "btime "); found {
			if seconds, err := strconv.ParseInt(text, 10, 64); err == nil && seconds > 0 {
				return time.Unix(seconds, 0)
			}
		}
	}
	return time.Time{}
}
