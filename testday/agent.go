package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"sweepd/agent"
	"sweepd/run"
	"sweepd/store"
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
	// Declare declares the active setting; an unknown one takes the declaration back. by
	// says what declares it, see run.Declaration.
	Declare(ctx context.Context, s run.Setting, by string) (Status, error)
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
	Declared    *run.Declaration    `json:"declared"` // nil where no declaration is in force
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
	Declare(ctx context.Context, s run.Setting, by string) error
	Ready(context.Context, run.Want) (run.Readiness, error)
	Live() run.Live
	// Subscribe has f hear of every event from now on, see agent.Events.
	Subscribe(f func(run.Event)) *agent.Subscription
	// Publish tells whoever follows runs of what change did, unless it fails.
	Publish(change func() (run.Event, error)) error
	// StoreEnded tries to store the runs that have ended and could not be stored so far.
	// It may not be called while an event is published, CorrectUnstored may.
	StoreEnded(context.Context) error
	// Rename has the agent record by another name of the device, if it does so by the
	// first one now.
	Rename(ctx context.Context, from, to string) (renamed bool, err error)
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

	Thresholds Thresholds // of findings that depend on other runs
}

// StopRun ends the run in progress, or the one that s names, whatever else s has: the
// error is an *EndedError where that cannot be kept.
func (l *Local) StopRun(ctx context.Context, s run.Stop) (run.Record, error) {
	given := Results(s.Results)
	var recording run.Run
	if r := l.Live().Recording; r != nil {
		recording = *r
	}
	s, unusable := usable(s, recording, l.Lower)
	d, err := l.stopRun(ctx, s, recording, given)
	if err == nil && l.Store != nil {
		d = l.compared(ctx, d)
	}
	return unusable.after(d, err)
}

// compared is a run that has ended, with what its like say of it: whoever stops a run is to
// see at once that it was made under other conditions than the others, or at another
// setting than was declared, which sets it aside.
func (l *Local) compared(ctx context.Context, d run.Record) run.Record {
	if MarkUnlike(ctx, l.Store, d.Run, l.Thresholds, time.Now()) != nil { // whoever follows runs tells why
		return d
	}
	kept, err := l.Store.Run(ctx, d.ID)
	if err != nil {
		return d
	}
	if kept.State != d.State {
		_ = l.Publish(func() (run.Event, error) { return run.Event{Kind: run.RunCorrected, Run: kept.Run}, nil }) // which cannot fail
	}
	d.Findings, d.State, d.Why = kept.Findings, kept.State, kept.Why
	return d
}

// usable is what can be kept of a stop, with the directions of its results.
func usable(s run.Stop, of run.Run, lower []string) (run.Stop, Unusable) {
	var u Unusable
	given := s.Results
	s.Results = map[string]run.Result{}
	for _, name := range slices.Sorted(maps.Keys(given)) {
		one, err := Results{name: given[name]}.WithDirections(lower)
		if err != nil {
			u.Add(missingResult(name+"="), err)
		}
		maps.Copy(s.Results, one)
	}
	if err := s.Check(of); err != nil {
		s.Note, s.Failure = "", ""
		u.Add("", err)
	}
	return s, u
}

func (l *Local) stopRun(ctx context.Context, s run.Stop, recording run.Run, given Results) (d run.Record, err error) {
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
		if s.IfRecording {
			return l.alreadyEnded(ctx, s.Run, err)
		}
		return l.afterEnd(ctx, s, given)
	}
	if errors.Is(err, run.ErrNotRecording) {
		err = l.afterLast(ctx, s.Results, err)
	}
	return d, err
}

// afterLast says, where a run is to be stopped and none is recording, which one ended last,
// by what, and how it gets its result: most often it is the one that is meant.
func (l *Local) afterLast(ctx context.Context, list Results, err error) error {
	d, failed := l.Store.Run(ctx, store.Last)
	if failed != nil || d.DurationS == nil {
		return err
	}
	live := l.Live()
	id := run.ShortID(d.ID)
	ended := "ended at " + endedWhen(d.Run, live.Now.Wall)
	switch {
	case d.State == run.Interrupted:
		return fmt.Errorf("%w; run %s of %q was interrupted at %s, when its agent ended: `sweepd run keep %[2]s --why TEXT` counts it%[5]s", err, id, d.Workload,
			endedWhen(d.Run, live.Now.Wall), offer(", and its result is added with", d.ID, list))
	case live.Stopped.Run == d.ID && live.Stopped.By != "":
		ended += ", by " + live.Stopped.By
	}
	if len(d.Results) == 0 {
		ended += ", without a result"
	}
	if len(list) == 0 {
		return fmt.Errorf("%w; run %s of %q %s: `sweepd run result %[2]s NAME=VALUE` gives it a result", err, id, d.Workload, ended)
	}
	replaced, same := compared(list, d.Results)
	switch {
	case len(same) == len(list):
		return fmt.Errorf("%w; run %s of %q %s, and has %s already", err, id, d.Workload, ended, typedResults(same))
	case len(replaced) > 0:
		return fmt.Errorf("%w; run %s of %q %s, and has %s, which %s would replace", err, id, d.Workload, ended, typedResults(replaced), ResultCommand(d.ID, list))
	case len(d.Results) > 0:
		return fmt.Errorf("%w; run %s of %q %s, and has a result%s", err, id, d.Workload, ended, offer(": if this is its, too, add it with", d.ID, list))
	}
	return fmt.Errorf("%w; run %s of %q %s%s", err, id, d.Workload, ended, offer(": if this is its, add it with", d.ID, list))
}

// compared tells which of the results that a run has are others than those of a list, and
// which are the same; a result without a unit is in the one that the run has.
func compared(list Results, has map[string]run.Result) (replaced, same Results) {
	replaced, same = Results{}, Results{}
	for name, r := range list {
		former, there := has[name]
		switch {
		case !there:
		case r.Value == former.Value && cmp.Or(r.Unit, former.Unit) == former.Unit:
			same[name] = former
		default:
			replaced[name] = former
		}
	}
	return replaced, same
}

// typedResults are results as a person types them.
func typedResults(list Results) string {
	var texts []string
	for _, name := range slices.Sorted(maps.Keys(list)) {
		texts = append(texts, typedResult(name, list[name]))
	}
	return strings.Join(texts, ", ")
}

// endedWhen is when a run ended, with the day where that is not today's.
func endedWhen(r run.Run, now time.Time) string {
	at := endOf(&r).Local()
	if at.Format(time.DateOnly) != now.Local().Format(time.DateOnly) {
		return at.Format(time.DateTime)
	}
	return endedAt(r)
}

// alreadyEnded says of a run that somebody was faster to stop it.
func (l *Local) alreadyEnded(ctx context.Context, id string, err error) (run.Record, error) {
	d, failed := l.Store.Run(ctx, id)
	if failed != nil {
		return d, errors.Join(err, failed)
	}
	live := l.Live()
	e := &AlreadyEndedError{Run: complete(d), Since: live.Now.Wall.Sub(endOf(&d.Run))}
	if live.Stopped.Run == d.ID {
		e.By = live.Stopped.By
	}
	return d, e
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
		c := run.Correction{Results: corrected(s.Results, given, d.Results), At: time.Now()}
		if f := s.Finding(); f != nil {
			c.Findings = map[run.Code]*run.Finding{f.Code: f}
		}
		d, err = l.Store.Correct(ctx, d.ID, c)
		return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
	})
	return d, err
}

// Declare declares the active setting.
func (l *Local) Declare(ctx context.Context, s run.Setting, by string) (Status, error) {
	if err := l.Recorder.Declare(ctx, s, by); err != nil {
		return Status{}, err
	}
	return l.Status(ctx)
}

// Status is what the agent is doing; it never fails.
func (l *Local) Status(context.Context) (Status, error) {
	s := l.Live()
	status := Status{
		Now: run.Stamp(s.Now.Wall), Version: l.Version, Device: s.Current.Device, Holder: l.Holder, Setting: s.Current.Setting, SettingRead: s.SettingRead, Declared: s.Declared, Supply: s.Current.Supply,
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
