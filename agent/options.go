package agent

import (
	"context"
	"time"

	"go.uber.org/zap"

	"sweepd/judge"
	"sweepd/run"
)

// Options configure an Agent. Recorder, Sensors and Device are required; every
// other field's zero value works.
type Options struct {
	Device   string
	Sensors  Sensors
	Recorder Recorder

	// History has the idle sweeps from before the agent was made; nil: it begins
	// without.
	History IdleHistory
	// Journal keeps the runs that ended and that the Recorder does not take; nil: they are
	// kept in memory alone. Left is what the agent before left in it.
	Journal Journal
	Left    []run.Ended
	// EarlierStarts gives runs that started like one of a cell, as far as there are any;
	// nil means that none are known. They tell how busy the device usually is then.
	EarlierStarts func(context.Context, run.Cell) ([]run.Record, error)
	// Declared is the setting that was declared before the agent was made.
	Declared run.Declaration
	// MachineStarted is when the machine was started; zero: unknown.
	MachineStarted time.Time
	// Clock is nil for the system's.
	Clock Clock
	// NewID makes a run's id from its start; nil means the function NewID.
	NewID func(time.Time) (string, error)
	// Interval between sweeps in a run: 100 ms to 60 s, 0 means 250 ms.
	Interval time.Duration
	// Thresholds of the findings; zero fields mean the defaults.
	Thresholds judge.Thresholds
	// Facts are read at every run's start, off the pacing path: a run waits for them as
	// long as for slow sensors, and gets those that come later too. nil means none.
	Facts func() map[string]string
	// ReadSetting runs the command that the user configured to tell the active
	// setting; nil means none. It is called about once a second, off the pacing
	// path.
	ReadSetting func(context.Context) (run.Setting, error)
	// Guard looks at every sweep, and forces some, while somebody relies on it; nil: none.
	Guard Guard
	// Log is nil for none.
	Log *zap.Logger
	// Stepped means that no goroutine is started: the owner calls Step as its
	// own clock moves on, and everything happens in the caller. For simulated
	// time.
	Stepped bool
}

// Sensors is the sampled machine; *collectors.Set is one. See there for which
// goroutine may call what.
type Sensors interface {
	Sensors() []run.Sensor
	Sweep(now time.Duration) []float64
	SlowDue(now time.Duration) bool
	ReadSlow(now time.Duration)
	Rescan(now time.Duration)
	Hasten(every time.Duration)
}

// Limits and defaults of the sampling interval.
const (
	DefaultInterval = 250 * time.Millisecond
	MinInterval     = 100 * time.Millisecond
	MaxInterval     = 60 * time.Second
)
