package testday

import (
	"context"
	"math"
	"sync"

	"sweepd/agent"
	"sweepd/run"
)

// Agent is a running agent, which records: Here in this process, *console.Client at
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

// Recorder is what Here needs of the agent in this process; *agent.Agent is one.
type Recorder interface {
	StartRun(context.Context, run.Start) (run.Run, error)
	StopRun(context.Context, run.Stop) (run.Record, error)
	Declare(context.Context, run.Setting) error
	Ready(context.Context, run.Want) (run.Readiness, error)
	Snapshot(*agent.Snapshot)
	// Publish tells whoever follows runs of what change did, unless it fails.
	Publish(change func() (run.Event, error)) error
}

var (
	_ Recorder = (*agent.Agent)(nil)
	_ Agent    = (*Here)(nil)
)

// Here is the agent in this process. Version is the program's, Lower names the results
// of which less is better where their direction is open.
type Here struct {
	Recorder
	Version string
	Lower   []string

	mu       sync.Mutex // guards snapshot, whose memory is used again and again
	snapshot agent.Snapshot
}

// StopRun ends the run in progress.
func (h *Here) StopRun(ctx context.Context, s run.Stop) (d run.Record, err error) {
	if s.Results, err = Results(s.Results).Directed(h.Lower); err != nil {
		return d, err
	}
	return h.Recorder.StopRun(ctx, s)
}

// Declare declares the active setting.
func (h *Here) Declare(ctx context.Context, s run.Setting) (Status, error) {
	if err := h.Recorder.Declare(ctx, s); err != nil {
		return Status{}, err
	}
	return h.Status(ctx)
}

// Status is what the agent is doing; it never fails.
func (h *Here) Status(context.Context) (Status, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	s := &h.snapshot
	h.Snapshot(s)
	status := Status{
		Version: h.Version, Device: s.Current.Device, Setting: s.Current.Setting, SettingRead: s.SettingRead, Supply: s.Current.Supply,
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

// Readings are the sensors and their latest values, NaN where missing.
func (h *Here) Readings() (sensors []run.Sensor, values []float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.Snapshot(&h.snapshot)
	return h.snapshot.Sensors, append([]float64(nil), h.snapshot.Values...)
}

// finite is nil for a number that JSON cannot hold.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
