package run

import "time"

// Sweep is one pass over all sensors.
type Sweep struct {
	At Instant
	// Values has one value for each sensor, NaN where missing. It may be
	// shorter than the sensors of a later sweep, never reordered.
	Values  []float64
	Setting SourcedSetting // active at that moment
	Supply  Supply
}

// Batch is about a second of sweeps that share a device and a run.
type Batch struct {
	Device  string
	RunID   string // "" for idle sweeps
	Sensors []Sensor
	Sweeps  []Sweep
}

// Trace is the stored sweeps of one run, in order. It can be walked again and
// again; the Sweep's Values are the trace's and hold until the next call.
type Trace interface {
	// Sensors are those of the last sweep, which has the most.
	Sensors() []Sensor
	Each(func(Sweep) error) error
	// Lost are the stretches, in order, that the latest walk by Each left out because
	// they are lost.
	Lost() []Loss
}

// Loss is a stretch of sweeps that were taken and are lost.
type Loss struct {
	// Code is ReadingsLost where they were never stored, DataDamaged where they were
	// and cannot be read any more.
	Code Code
	// From is the time of the first of them or, where that is unknown, of the sweep
	// before it. To is about that of the last.
	From, To time.Time
	Sweeps   int
	AtLeast  bool // there may have been more than Sweeps
}
