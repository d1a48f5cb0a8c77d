package agent

import (
	"context"
	"errors"
	"fmt"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
)

// StartRun begins a run with a sweep at this moment. The setting in s, if any,
// is declared. It fails with ErrRecording while another run is recording.
func (a *Agent) StartRun(ctx context.Context, s run.Start) (run.Run, error) {
	if err := s.Check(); err != nil {
		return run.Run{}, err
	}
	if err := a.readHistory(ctx); err != nil {
		return run.Run{}, err
	}
	usual := a.usualLoad(ctx, s.Workload, s.Setting, s.Variant)
	facts := a.askFacts()
	wait, cancel := context.WithTimeout(ctx, edgeWait)
	a.refresh(wait)
	select {
	case <-facts.done:
	case <-wait.Done():
	}
	cancel()
	var declared run.Declaration
	if s.Setting.Known() {
		a.declaring.Lock()
		defer a.declaring.Unlock()
	}
	d, err := a.batcher.begin(ctx, func() (d run.Record, err error) {
		err = a.do(ctx, func() error {
			d, err = a.beginRun(s, facts, usual)
			declared = a.declared
			return err
		})
		return d, err
	})
	if err == nil {
		if s.Setting.Known() {
			a.keepDeclaration(context.WithoutCancel(ctx), declared)
		}
		_ = a.StoreEnded(context.WithoutCancel(ctx)) // what could not be stored before
		a.log.Info("run started", zap.String("run", d.ID), zap.String("workload", d.Workload),
			zap.String("setting", d.Setting.String()), zap.String("supply", string(d.Supply)))
		return d.Run, nil
	}
	if d.ID != "" { // sampled, but not stored: it never was
		a.batcher.discard(d.ID)
		_ = a.do(context.WithoutCancel(ctx), func() error { _, err := a.endRun(run.Stop{Run: d.ID}); return err })
		a.batcher.discard(d.ID)
		if left := a.unstored.records(); len(left) > 0 {
			err = fmt.Errorf("%w (run %s, which has ended, is not stored yet either)", err, run.ShortID(left[0].ID))
		}
	}
	return run.Run{}, err
}

// beginRun runs on the sampling goroutine. usual is the processor load that is usual
// at such a start.
func (a *Agent) beginRun(s run.Start, facts *factsReading, usual float64) (run.Record, error) {
	if a.run != nil {
		r := a.run.record
		return run.Record{}, fmt.Errorf("run %s of %q: %w", r.ID, r.Workload, run.ErrRecording)
	}
	if s.Setting.Known() {
		a.declared = a.declaration(s.Setting, s.By)
	}
	now := a.opts.Clock.Now()
	id, err := a.opts.NewID(now.Wall)
	if err != nil {
		return run.Record{}, err
	}
	d := run.Record{}
	d.ID, d.Facts = id, factsOf(nil, s.Typed)
	var awaits *factsReading
	select {
	case <-facts.done:
		d.Facts = factsOf(facts.facts, s.Typed)
	default:
		awaits = facts
	}
	d.Device, d.Workload, d.Variant, d.Note, d.State = a.device(), s.Workload, s.Variant, run.NoteText(s.Note), run.Recording
	d.Results = map[string]run.Result{}
	d.Findings = []run.Finding{}
	d.Summaries = []run.Summary{}
	d.StartedAt = run.Stamp(now.Wall)
	d.Idle = a.baseline.IdlePower(now.Boot)
	a.run, a.afterRun = &recording{record: d, started: now, typed: s.Typed, awaits: awaits}, false
	a.nextTick = now.Mono + a.opts.Interval
	if err := a.sweep(now, sweepEdge); err != nil {
		return run.Record{}, err
	}
	m := a.moment()
	m.UsualLoad = usual
	a.run.record.Findings = append(a.run.record.Findings, m.StartFindings()...)
	run.Advise(a.run.record.Findings)
	a.describeRun(&a.run.record)
	if a.pacer != nil {
		return a.run.record, a.pacer.Arm(a.opts.Interval)
	}
	return a.run.record, nil
}

// describeRun takes setting and supply from the first sweep.
func (a *Agent) describeRun(d *run.Record) {
	a.mu.Lock()
	defer a.mu.Unlock()
	d.Setting, d.Supply = a.labels.Setting, a.labels.Supply
	if a.shared.read.Known() {
		read := a.shared.read
		d.SettingRead = &read
	}
	if c := a.command.setting.Load(); c != nil {
		d.SettingRead = c
	}
	r := d.Run
	a.shared.run = &r
}

// StopRun ends the recording run with a sweep at this moment, judges and stores
// it. It fails with ErrNotRecording when there is none, and with ErrEnded when it is
// not the one that s names: then that one is stored already if this agent recorded it and
// could. A *run.NotStoredError says that the run has ended and is kept, but not stored.
func (a *Agent) StopRun(ctx context.Context, s run.Stop) (run.Record, error) {
	a.refresh(ctx)
	var e *endedRun
	err := a.do(ctx, func() error {
		ended, err := a.endRun(s)
		if ended.Record.ID != "" {
			e = a.unstored.add(&endedRun{Ended: ended})
		}
		return err
	})
	ctx = context.WithoutCancel(ctx) // from here on the run is over whatever the caller does
	if e == nil {
		if errors.Is(err, run.ErrEnded) || errors.Is(err, run.ErrNotRecording) {
			_ = a.StoreEnded(ctx) // said by the agent
		}
		return run.Record{}, err
	}
	d, failed := a.storeEnded(ctx, e)
	if failed == nil {
		_ = a.StoreEnded(ctx) // those before it, now that it works
	}
	return d, errors.Join(err, failed)
}

// endRun runs on the sampling goroutine. Without an id in the record nothing has ended.
func (a *Agent) endRun(s run.Stop) (run.Ended, error) {
	if s.Run != "" && (a.run == nil || a.run.record.ID != s.Run) {
		return run.Ended{}, fmt.Errorf("run %s: %w", run.ShortID(s.Run), run.ErrEnded)
	}
	if a.run == nil {
		return run.Ended{}, run.ErrNotRecording
	}
	if err := s.Check(a.run.record.Run); err != nil {
		return run.Ended{}, err
	}
	now := a.opts.Clock.Now()
	err := a.sweep(now, sweepEdge)
	ended := run.Ended{Record: a.run.record, Sweeps: a.run.sweeps}
	d := &ended.Record
	d.State = run.Finished
	elapsed := (now.Mono - a.run.started.Mono).Seconds()
	d.DurationS = &elapsed
	s.Apply(&d.Run)
	a.run = nil
	before := a.labels
	a.mu.Lock()
	a.shared.run, a.shared.stopped = nil, run.Stopped{Run: d.ID, By: s.By}
	a.relabelLocked(a.prev, now.Mono)
	a.shared.labels = a.labels
	a.mu.Unlock()
	a.tellOfLabels(before)
	a.afterRun, a.nextTick = true, now.Mono+afterRunWait
	if a.pacer != nil {
		if perr := a.pacer.Arm(afterRunWait); perr != nil {
			return ended, perr
		}
	}
	return ended, err
}

// afterRunWait is when the first idle sweep after a run comes. The next
// scheduled one may be long after it, and energy would be counted until then as
// if the load had gone down slowly.
const afterRunWait = time.Second

// sweepAfterRun takes the first idle sweep after a run.
func (a *Agent) sweepAfterRun() error {
	a.afterRun = false
	if a.pacer != nil {
		if err := a.pacer.Arm(0); err != nil {
			return err
		}
	}
	return a.sweep(a.opts.Clock.Now(), sweepIdle)
}

// countSweep adds the time since a sweep began to the agent's own figures.
func (a *Agent) countSweep(took time.Duration) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.shared.seconds += took.Seconds()
	a.shared.lastDur = took
}
