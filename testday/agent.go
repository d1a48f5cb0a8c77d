package testday

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/agent"
	"sweepd/run"
)

// Agent is a running agent, which records: Local in this process, *console.Client at
// the other end of a connection. All methods may be called from any goroutine.
type Agent interface {
	StartRun(context.Context, run.Start) (run.Run, error)
	// StopRun takes results whose direction is open, see Results. Where s names a run
	// that has ended already nothing is stopped: that run gets the results and is
	// returned as it is then, so that a stop may be repeated whose answer was lost. Any
	// part names a run that only it has. A *run.NotStoredError says that the run has ended
	// and is kept, but could not be stored; repeating the stop tries again.
	StopRun(context.Context, run.Stop) (run.Record, error)
	// Declare declares the active setting; an unknown one takes the declaration back.
	Declare(context.Context, run.Setting) (Status, error)
	Ready(context.Context, run.Want) (run.Readiness, error)
	Status(context.Context) (Status, error)
}

// Status is what an agent is doing. Unknown numbers are nil.
type Status struct {
	Version string `json:"version"`
	Device  string `json:"device"`
	Holder
	At          run.Timestamp       `json:"at"`  // of the last sweep
	Now         run.Timestamp       `json:"now"` // by the agent's clock
	Setting     run.SourcedSetting  `json:"setting"`
	SettingRead *run.SourcedSetting `json:"setting_read"`
	Supply      run.Supply          `json:"supply"`
	Recording   *run.Run            `json:"recording"`
	Unstored    []run.Run           `json:"unstored"` // ended, and could not be stored so far
	DischargeW  *float64            `json:"discharge_watts"`
	ChargeRatio *float64            `json:"charge_ratio"`
	Sweeps      uint64              `json:"sweeps"`
	// SettingCommandFailure is why the configured command tells no setting; empty
	// where it does or there is none.
	SettingCommandFailure string `json:"setting_command_failure"`
}

// Holder says who holds the data that an agent records into. Empty where it is unknown.
type Holder struct {
	Data  string `json:"data"`  // the folder
	User  string `json:"user"`  // that the agent runs as
	Group string `json:"group"` // whose members may change what is kept
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
	// StoreEnded tries to store the runs that have ended and could not be stored so far.
	// It may not be called while an event is published, CorrectUnstored may.
	StoreEnded(context.Context) error
	// CorrectUnstored corrects one of them; false where it is none of them.
	CorrectUnstored(id string, c run.Correction) (bool, error)
}

var (
	_ Recorder = (*agent.Agent)(nil)
	_ Agent    = (*Local)(nil)
)

// Local is the agent in this process.
type Local struct {
	Recorder
	Store   Corrections
	Holder  Holder
	Version string   // the program's
	Lower   []string // results of which less is better, where their direction is open
}

// StopRun ends the run in progress, or the one that s names.
func (l *Local) StopRun(ctx context.Context, s run.Stop) (d run.Record, err error) {
	given := Results(s.Results)
	if s.Results, err = given.WithDirections(l.Lower); err != nil {
		return d, err
	}
	var recording run.Run
	if r := l.Live().Recording; r != nil {
		recording = *r
	}
	if err := s.Check(recording); err != nil {
		return d, requestError(err)
	}
	if s.Run != "" && s.Run != recording.ID {
		if s.Run, err = l.Store.FindRun(ctx, s.Run); err != nil {
			return d, err
		}
	}
	unstored := l.Live().Unstored
	d, err = l.Recorder.StopRun(ctx, s)
	if errors.Is(err, run.ErrNotRecording) && len(unstored) > 0 { // the stop that failed is repeated
		s.Run = unstored[len(unstored)-1].ID
		return l.afterEnd(ctx, s, given)
	}
	if errors.Is(err, run.ErrEnded) {
		return l.afterEnd(ctx, s, given)
	}
	return d, err
}

// afterEnd gives a run that has ended what a stop says of it.
func (l *Local) afterEnd(ctx context.Context, s run.Stop, given Results) (d run.Record, err error) {
	err = l.Publish(func() (run.Event, error) {
		if d, err = l.Store.Run(ctx, s.Run); err != nil {
			return run.Event{}, err
		}
		if !strings.HasSuffix(d.Note, run.NoteText(s.Note)) {
			return run.Event{}, fmt.Errorf("run %s: %w (%s): its note stays as it is", run.ShortID(d.ID), run.ErrEnded, d.State)
		}
		c := run.Correction{Results: corrected(s.Results, given), At: time.Now()}
		if f := s.Finding(); f != nil {
			c.Findings = map[run.Code]*run.Finding{f.Code: f}
		}
		d, err = l.Store.Correct(ctx, d.ID, c)
		return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
	})
	return d, err
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
		Now: run.Stamp(s.Now.Wall), Version: l.Version, Device: s.Current.Device, Holder: l.Holder, Setting: s.Current.Setting, SettingRead: s.SettingRead, Supply: s.Current.Supply,
		DischargeW: finite(s.DischargeWatts), ChargeRatio: finite(s.ChargeRatio), Sweeps: s.Sweeps,
		SettingCommandFailure: s.SettingCommandFailure, Unstored: []run.Run{},
	}
	for _, d := range s.Unstored {
		status.Unstored = append(status.Unstored, listed(d.Run))
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
