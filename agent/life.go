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
	facts := map[string]string{}
	if a.opts.Facts != nil {
		facts = a.opts.Facts()
	}
	a.refresh(ctx)
	d, err := a.batcher.begin(ctx, func() (d run.Record, err error) {
		err = a.do(ctx, func() error {
			d, err = a.beginRun(s, facts)
			return err
		})
		return d, err
	})
	if err == nil {
		a.log.Info("run started", zap.String("run", d.ID), zap.String("workload", d.Workload),
			zap.String("setting", d.Setting.String()), zap.String("supply", string(d.Supply)))
		return d.Run, nil
	}
	if d.ID != "" { // sampled, but not stored: it never was
		a.batcher.discard(d.ID)
		_ = a.do(context.WithoutCancel(ctx), func() error { _, err := a.endRun(run.Stop{Run: d.ID}); return err })
		a.batcher.discard(d.ID)
	}
	return run.Run{}, err
}

// beginRun runs on the sampling goroutine.
func (a *Agent) beginRun(s run.Start, facts map[string]string) (run.Record, error) {
	if a.run != nil {
		r := a.run.record
		return run.Record{}, fmt.Errorf("run %s of %q: %w", r.ID, r.Workload, run.ErrRecording)
	}
	if s.Setting.Known() {
		a.declared = s.Setting.From(run.Declared)
	}
	now := a.opts.Clock.Now()
	id, err := a.opts.NewID(now.Wall)
	if err != nil {
		return run.Record{}, err
	}
	d := run.Record{}
	d.ID, d.Facts = id, facts
	d.Device, d.Workload, d.Variant, d.Note, d.State = a.opts.Device, s.Workload, s.Variant, run.NoteText(s.Note), run.Recording
	d.Results = map[string]run.Result{}
	d.Findings = []run.Finding{}
	d.Summaries = []run.Summary{}
	d.StartedAt = run.Stamp(now.Wall)
	a.run, a.afterRun = &recording{record: d, started: now}, false
	a.nextTick = now.Mono + a.opts.Interval
	if err := a.sweep(now, sweepEdge); err != nil {
		return run.Record{}, err
	}
	a.run.record.Findings = append(a.run.record.Findings, a.moment().StartFindings()...)
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
// not the one that s names: then that one is stored already if this agent recorded it.
func (a *Agent) StopRun(ctx context.Context, s run.Stop) (run.Record, error) {
	a.refresh(ctx)
	var d run.Record
	kept := make(chan struct{})
	err := a.do(ctx, func() (err error) {
		if d, err = a.endRun(s); err == nil {
			a.ending.Store(d.ID, kept)
		}
		return err
	})
	if errors.Is(err, run.ErrEnded) {
		a.awaitKept(ctx, s.Run)
	}
	if err != nil {
		return run.Record{}, err
	}
	defer func() { a.ending.Delete(d.ID); close(kept) }()
	// From here on the run is over whatever the caller does.
	d, err = a.batcher.judge(context.WithoutCancel(ctx), d, a.opts.Thresholds)
	if err != nil {
		a.log.Error("run could not be stored; it is judged again when the agent starts next", zap.Error(err))
		return d, err
	}
	a.log.Info("run stopped", zap.String("run", d.ID), zap.String("state", string(d.State)), zap.Int("findings", len(d.Findings)))
	return d, nil
}

// awaitKept waits until a run that has ended is judged and stored, or failed to be.
func (a *Agent) awaitKept(ctx context.Context, id string) {
	if kept, ok := a.ending.Load(id); ok {
		select {
		case <-kept.(chan struct{}):
		case <-ctx.Done():
		}
	}
}

// endRun runs on the sampling goroutine.
func (a *Agent) endRun(s run.Stop) (run.Record, error) {
	if s.Run != "" && (a.run == nil || a.run.record.ID != s.Run) {
		return run.Record{}, fmt.Errorf("run %s: %w", run.ShortID(s.Run), run.ErrEnded)
	}
	if a.run == nil {
		return run.Record{}, run.ErrNotRecording
	}
	if err := s.Check(a.run.record.Run); err != nil {
		return run.Record{}, err
	}
	now := a.opts.Clock.Now()
	err := a.sweep(now, sweepEdge)
	d := a.run.record
	d.State = run.Finished
	elapsed := (now.Mono - a.run.started.Mono).Seconds()
	d.DurationS = &elapsed
	s.Apply(&d.Run)
	a.run = nil
	before := a.labels
	a.mu.Lock()
	a.shared.run = nil
	a.relabelLocked(a.prev, now.Mono)
	a.shared.labels = a.labels
	a.mu.Unlock()
	a.tellOfLabels(before)
	a.afterRun, a.nextTick = true, now.Mono+afterRunWait
	if a.pacer != nil {
		if perr := a.pacer.Arm(afterRunWait); perr != nil {
			return d, perr
		}
	}
	return d, err
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
