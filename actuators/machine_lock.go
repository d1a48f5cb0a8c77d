package actuators

import (
	"os"
)

// SetElsewhereError is that another process sets this machine: two that set the same
// places would put back each other's values.
type SetElsewhereError struct{}

func (*SetElsewhereError) Error() string {
	return "another sweepd sets this machine at present: end its day first (sweepd plan stop), or that agent"
}

// machineLock is held by the one process that sets anything. The system takes it away
// when the process ends, however it ends.
type machineLock struct{ release func() error }

// heldBy is a lock that is held as long as f is open.
func heldBy(f *os.File) *machineLock { return &machineLock{f.Close} }
