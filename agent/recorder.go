package agent

import (
	"context"
	"errors"
	"time"

	"sweepd/collectors"
)

// Sweep is one pass over all sensors.
type Sweep struct {
	At Instant
	// Values has one value for each sensor, NaN where missing. It may be
	// shorter than the sensors of a later sweep, never reordered.
	Values  []float64
	Setting Setting // active at that moment
	Supply  Supply
}

// Batch is about a second of sweeps that share a device and a run.
type Batch struct {
	Device  string
	RunID   string // "" for idle sweeps
	Sensors []collectors.Sensor
	Sweeps  []Sweep
}

// Trace is the stored sweeps of one run, in order. It can be walked again and
// again; the Sweep's Values are the trace's and hold until the next call.
type Trace interface {
	// Sensors are those of the last sweep, which has the most.
	Sensors() []collectors.Sensor
	Each(func(Sweep) error) error
}

// ErrRefused is wrapped by a Recorder's Append where it will never take a batch,
// however often it is tried: infinite values, say. Others may go through later.
var ErrRefused = errors.New("cannot be stored")

// Recorder keeps runs and sweeps. Calls come from one goroutine at a time.
type Recorder interface {
	// BeginRun stores a run in state recording with its facts. It must be on
	// disk when BeginRun returns.
	BeginRun(ctx context.Context, d Detail) error
	// Append stores sweeps; when it returns, a killed agent loses none of them.
	Append(ctx context.Context, b Batch) error
	// Trace opens the sweeps stored for a run.
	Trace(ctx context.Context, runID string) (Trace, error)
	// FinishRun stores a judged run: state, duration, results, findings,
	// summaries and discharge. Results stored for the run meanwhile are kept
	// unless d has one of the same name.
	FinishRun(ctx context.Context, d Detail) error
	// Unfinished are the runs that a crash left recording.
	Unfinished(ctx context.Context) ([]Detail, error)
}

// IdleHistory gives the device's own baseline to the checks before a run, across
// restarts. It is read while the Recorder stores.
type IdleHistory interface {
	// IdleSweeps walks the idle sweeps stored for the device since a moment.
	IdleSweeps(ctx context.Context, device string, since time.Time) (Trace, error)
}
