package collectors

import (
	"fmt"
	"sync"

	"golang.org/x/sys/unix"
)

// keptDescriptors are left by sensors to the rest of the program: its timer and
// poller, the data, connections (at most 128), a command, the scans themselves.
// Under a limit below twice as many they are half of it.
const keptDescriptors = 256

// sensorDescriptors is the descriptor from which on sensors have none. The kernel
// gives out the lowest that is free, so one beyond it means that all below are
// taken. Go raised the soft limit to the hard one when the program started (package
// os).
var sensorDescriptors = sync.OnceValue(func() int {
	limit := uint64(1024)
	var l unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &l); err == nil {
		limit = min(l.Cur, 1<<30)
	}
	return int(limit - min(keptDescriptors, limit/2))
})

// errNoDescriptor is the cause where a sensor is left out.
var errNoDescriptor = fmt.Errorf("no descriptor is left for it, for the rest are kept for data and connections: %w", unix.EMFILE)
