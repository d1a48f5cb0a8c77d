package testday

import (
	"context"
	"time"

	"sweepd/actuators"
	"sweepd/run"
)

// Panel is what of this device the day may set; *actuators.Panel is one. Its methods may
// be called from any goroutine.
type Panel interface {
	// Offers are all actuators with what they can set; nothing is written.
	Offers() []actuators.Offer
	// Sets tells whether something that the configuration allows sets the setting
	// (actuators.SetsSetting) or a key of the variant, at present.
	Sets(key string) bool
	// Steps are the writes, in order, that set a value, within the limits of machine and
	// configuration; a step upward that is larger than the configuration allows is several
	// writes. None where the device has the value already.
	Steps(key string, v actuators.Value) ([]actuators.Write, error)
	// Apply does one write: the first value of its place is on the disk before. It reads
	// back, and returns an *actuators.NotObeyedError where the place does not have it.
	Apply(ctx context.Context, w actuators.Write) error
	// NotInForce are the places that read otherwise than they were set, with what they
	// read now in Was.
	NotInForce(ctx context.Context) []actuators.Write
	// Changed is what Restore would put back: Text is what is set, Was the first value.
	Changed() []actuators.Write
	// Restore puts all first values back, each whatever becomes of the others, and forgets
	// those that read back right. Any number of callers may call it at once; an Apply that
	// comes meanwhile waits, one that is in progress is waited for.
	Restore(ctx context.Context) error
}

// Tripped is why a guard wants the first values back.
type Tripped struct {
	Guard string      // temperature, reserve, battery_temperature, sensor, supply, runner, sweeps
	Text  string      // a sentence with the number and the limit
	At    run.Instant // of the sweep that showed it
	// Ends tells whether the day is over; else it pauses and may go on when a person says so.
	Ends bool
	// Waits tells that it needs nobody to say so: what is needed next, such as the plug, more
	// charge or a runner, is what the day waits for anyway.
	Waits bool
}

// TrippedError is that a guard would trip at once, so that nothing is to be set.
type TrippedError struct{ Tripped }

func (e *TrippedError) Error() string { return e.Text }

// GuardLimits are the user's, from the configuration. Zero: the default that Guards gives.
type GuardLimits struct {
	Temperature        float64       // °C, of the hottest processor sensor; default: 95, never above what a driver states as critical
	Reserve            float64       // charge below which nothing runs, 0 to 1; default 0.1
	BatteryTemperature [2]float64    // °C; default 0 to 45
	SensorGone         time.Duration // how long a guarding sensor may be missing; default 1 s
	Runner             time.Duration // how long the runner may be silent; 5 s
}

// GuardWatch arms the guards: *Guards is one. trip is called once, on a goroutine of its own,
// at the first sweep, or silence, that trips one; then they are disarmed until armed again.
type GuardWatch interface {
	// Arm begins to guard; it fails where what must be guarded cannot be read at all, and
	// with a *TrippedError where a guard would trip at once.
	Arm(trip func(Tripped)) error
	Disarm()
	// Expect says what supply the run in progress needs; SupplyUnknown for any.
	Expect(run.Supply)
	// RunnerBusy says whether a job is out with the runner, so that its silence counts;
	// Heard that it was heard of.
	RunnerBusy(bool)
	Heard()
}

// WorkloadCommand is how a workload is carried out, from the configuration.
type WorkloadCommand struct {
	Command    []string
	ResultFrom []string      // as `run watch --result-from` takes them
	Lower      []string      // of these results less is better
	Timeout    time.Duration // default 1 h
}
