package main

import (
	"os"
	"runtime/debug"
)

// The agent keeps a few megabytes. A limit below 8 MiB would make the garbage
// collector run all the time.
const (
	memoryLimit = 16 << 20 // bytes
	gcPercent   = 50
)

// tune keeps the agent's memory small, unless the environment says otherwise.
func tune() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memoryLimit)
	}
}
