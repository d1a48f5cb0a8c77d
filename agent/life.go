package agent

import (
	"context"
	"fmt"
	"maps"
	"strings"
	"time"

	"go.uber.org/zap"
)

// StartRun begins a run with a sweep at this moment. The setting in s, if any,
// is declared. It fails with ErrRecording while another run is recording.
func (a *Agent) StartRun(ctx context.Context, s Start) (Run, error) {
	if err := s.check(); err != nil {
		return Run{}, err
	}
	if err := a.recall(ctx); err != nil {
		return Run{}, err
	}
	facts := map[string]string{}
	if a.opts.Facts != nil {
		facts = a.opts.Facts()
	}
	a.refresh(ctx)
	d, err := a.journal.begin(ctx, func() (d Detail, err error) {
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
		a.journal.discard(d.ID)
		_ = a.do(context.WithoutCancel(ctx), func() error { _, err := a.endRun(Stop{}); return err })
		a.journal.discard(d.ID)
	}
	return Run{}, err
}

func (s Start) check() error {
	if err := CheckLabel("workload", s.Workload); err != nil {
		return err
	}
	for k, v := range s.Variant {
		if err := CheckVariantPair(k, v); err != nil {
			return err
		}
	}
	if len(s.Note) > maxNote {
		return fmt.Errorf("note has %d bytes: at most %d are allowed", len(s.Note), maxNote)
	}
	return nil
}

const maxNote = 4000

// beginRun runs on the sampling goroutine.
func (a *Agent) beginRun(s Start, facts map[string]string) (Detail, error) {
	if a.run != nil {
		r := a.run.detail
		return Detail{}, fmt.Errorf("run %s of %q: %w", r.ID, r.Workload, ErrRecording)
	}
	if s.Setting != nil {
		a.declared = *s.Setting
		a.declared.Source = Declared
	}
	now := a.opts.Clock.Now()
	id, err := a.opts.NewID(now.Wall)
	if err != nil {
		return Detail{}, err
	}
	d := Detail{Facts: facts}
	d.ID = id
	d.Device, d.Workload, d.Note, d.State = a.opts.Device, s.Workload, s.Note, Recording
	d.Variant = map[string]string{}
	maps.Copy(d.Variant, s.Variant)
	d.Results = map[string]Result{}
	d.Findings = []Finding{}
	d.Summaries = []Summary{}
	d.StartedAt = Stamp(now.Wall)
	a.run, a.afterRun = &recording{detail: d, started: now}, false
	a.nextTick = now.Mono + a.opts.Interval
	if err := a.sweep(now, sweepEdge); err != nil {
		return Detail{}, err
	}
	a.run.detail.Findings = append(a.run.detail.Findings, a.startFindings(a.prev, a.labels.Setting)...)
	Advise(a.run.detail.Findings)
	a.describeRun(&a.run.detail)
	if a.pacer != nil {
		return a.run.detail, a.pacer.Arm(a.opts.Interval)
	}
	return a.run.detail, nil
}

// describeRun takes setting and supply from the first sweep.
func (a *Agent) describeRun(d *Detail) {
	a.mu.Lock()
	defer a.mu.Unlock()
	d.Setting, d.Supply = a.labels.Setting, a.labels.Supply
	if a.shared.read.Known() {
		read := a.shared.read
		d.SettingRead = &read
	}
	if c := a.command.Load(); c != nil {
		d.SettingRead = c
	}
	r := d.Run
	a.shared.run = &r
}

// StopRun ends the recording run with a sweep at this moment, judges and stores
// it. It fails with ErrNotRecording when there is none.
func (a *Agent) StopRun(ctx context.Context, s Stop) (Detail, error) {
	for name, r := range s.Results {
		if err := CheckResult(name, r); err != nil {
			return Detail{}, err
		}
	}
	if len(s.Note) > maxNote {
		return Detail{}, fmt.Errorf("note has %d bytes: at most %d are allowed", len(s.Note), maxNote)
	}
	a.refresh(ctx)
	var d Detail
	err := a.do(ctx, func() (err error) { d, err = a.endRun(s); return err })
	if err != nil {
		return Detail{}, err
	}
	// From here on the run is over whatever the caller does.
	d, err = a.journal.judge(context.WithoutCancel(ctx), d, a.opts.Thresholds)
	if err != nil {
		a.log.Error("run could not be stored; it is judged again when the agent starts next", zap.Error(err))
		return d, err
	}
	a.log.Info("run stopped", zap.String("run", d.ID), zap.String("state", string(d.State)), zap.Int("findings", len(d.Findings)))
	if a.opts.OnFinish != nil {
		a.opts.OnFinish(d)
	}
	return d, nil
}

// endRun runs on the sampling goroutine.
func (a *Agent) endRun(s Stop) (Detail, error) {
	if a.run == nil {
		return Detail{}, ErrNotRecording
	}
	now := a.opts.Clock.Now()
	err := a.sweep(now, sweepEdge)
	d := a.run.detail
	d.State = Finished
	elapsed := (now.Mono - a.run.started.Mono).Seconds()
	d.DurationS = &elapsed
	maps.Copy(d.Results, s.Results)
	d.Note = strings.TrimSpace(d.Note + "\n" + s.Note)
	a.run = nil
	a.mu.Lock()
	a.shared.run = nil
	a.relabelLocked(a.prev, now.Mono)
	a.shared.labels = a.labels
	a.mu.Unlock()
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
