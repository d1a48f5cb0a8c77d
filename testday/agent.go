package testday

import (
	"context"
	"math"

	"sweepd/agent"
	"sweepd/run"
)

// Agent is a running agent, which records: Local in this process, *console.Client at
// the other end of a connection. All methods may be called from any goroutine.
type Agent interface {
	StartRun(context.Context, run.Start) (run.Run, error)
	// StopRun takes results whose direction is open, see Results.
	StopRun(context.Context, run.Stop) (run.Record, error)
	// Declare declares the active setting; an unknown one takes the declaration back.
	Declare(context.Context, run.Setting) (Status, error)
	Ready(context.Context, run.Want) (run.Readiness, error)
	Status(context.Context) (Status, error)
}

// Status is what an agent is doing. Unknown numbers are nil.
type Status struct {
	Version     string              `json:"version"`
	Device      string              `json:"device"`
	At          run.Timestamp       `json:"at"`
	Setting     run.SourcedSetting  `json:"setting"`
	SettingRead *run.SourcedSetting `json:"setting_read"`
	Supply      run.Supply          `json:"supply"`
	Recording   *run.Run            `json:"recording"`
	DischargeW  *float64            `json:"discharge_watts"`
	ChargeRatio *float64            `json:"charge_ratio"`
	Sweeps      uint64              `json:"sweeps"`
}

// Recorder is what Local needs of the agent in this process; *agent.Agent is one.
type Recorder interface {
	StartRun(context.Context, run.Start) (run.Run, error)
	StopRun(context.Context, run.Stop) (run.Record, error)
	Declare(context.Context, run.Setting) error
	Ready(context.Context, run.Want) (run.Readiness, error)
	Live() run.Live
	// Publish tells whoever follows runs of what change did, unless it fails.
	Publish(change func() (run.Event, error)) error
}

var (
	_ Recorder = (*agent.Agent)(nil)
	_ Agent    = (*Local)(nil)
)

// Local is the agent in this process.
type Local struct {
	Recorder
	Version string   // the program's
	Lower   []string // results of which less is better, where their direction is open
}

// StopRun ends the run in progress.
func (l *Local) StopRun(ctx context.Context, s run.Stop) (d run.Record, err error) {
	if s.Results, err = Results(s.Results).WithDirections(l.Lower); err != nil {
		return d, err
	}
	return l.Recorder.StopRun(ctx, s)
}

// Declare declares the active setting.
func (l *Local) Declare(ctx context.Context, s run.Setting) (Status, error) {
	if err := l.Recorder.Declare(ctx, s); err != nil {
		return Status{}, err
	}
	return l.Status(ctx)
}

// Status is what the agent is doing; it never fails.
func (l *Local) Status(context.Context) (Status, error) {
	s := l.Live()
	status := Status{
		Version: l.Version, Device: s.Current.Device, Setting: s.Current.Setting, SettingRead: s.SettingRead, Supply: s.Current.Supply,
		DischargeW: finite(s.DischargeWatts), ChargeRatio: finite(s.ChargeRatio), Sweeps: s.Sweeps,
	}
	if s.Sweeps > 0 {
		status.At = run.Stamp(s.At.Wall)
	}
	if s.Recording != nil {
		r := listed(*s.Recording)
		status.Recording = &r
	}
	return status, nil
}

// finite is nil for a number that JSON cannot hold.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
