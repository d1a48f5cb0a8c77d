package agent

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
)

// journal gathers sweeps and hands them to the Recorder once a second, off the
// sampling goroutine. What cannot be written is kept and tried again.
type journal struct {
	recorder Recorder
	events   *Events
	log      *zap.Logger

	mu      sync.Mutex // guards open and full
	open    *batch
	full    []*batch
	spare   []*batch // written ones, for reuse
	dropped int

	write sync.Mutex // one call to the Recorder at a time
	bad   string     // the last failure's text, logged once
}

// batch is a Batch with the memory its sweeps' values live in.
type batch struct {
	run.Batch
	began  time.Duration
	values []float64
}

// maxPending is how many seconds of sweeps are kept while the disk refuses
// them.
const maxPending = 600

// add copies a sweep. It reports whether a batch is full and wants writing.
func (j *journal) add(device, runID string, sensors []run.Sensor, s run.Sweep) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.open != nil && j.open.RunID != runID {
		j.closeLocked()
	}
	if j.open == nil {
		j.open = j.takeLocked()
		j.open.Device, j.open.RunID, j.open.began = device, runID, s.At.Mono
	}
	b := j.open
	b.Sensors = sensors
	at := len(b.values)
	b.values = append(b.values, s.Values...)
	s.Values = b.values[at:len(b.values):len(b.values)]
	b.Sweeps = append(b.Sweeps, s)
	if runID == "" || s.At.Mono-b.began >= time.Second-time.Millisecond {
		j.closeLocked()
	}
	return len(j.full) > 0
}

func (j *journal) takeLocked() *batch {
	if n := len(j.spare); n > 0 {
		b := j.spare[n-1]
		j.spare = j.spare[:n-1]
		return b
	}
	return &batch{}
}

func (j *journal) closeLocked() {
	if j.open == nil {
		return
	}
	j.full = append(j.full, j.open)
	j.open = nil
	if len(j.full) > maxPending {
		j.full = j.full[1:]
		j.dropped++
	}
}

// flush writes what is full, and the open batch too when all is set.
func (j *journal) flush(ctx context.Context, all bool) error {
	j.write.Lock()
	defer j.write.Unlock()
	for {
		b := j.next(all)
		if b == nil {
			j.bad = ""
			return nil
		}
		if err := j.recorder.Append(ctx, b.Batch); err != nil {
			if errors.Is(err, run.ErrRefused) {
				j.log.Error("sweeps are lost", zap.String("run", b.RunID), zap.Int("sweeps", len(b.Sweeps)), zap.Error(err))
				j.recycle(b)
				continue
			}
			j.putBack(b)
			return j.complain(fmt.Errorf("store %d sweeps of run %q: %w", len(b.Sweeps), b.RunID, err))
		}
		j.recycle(b)
	}
}

func (j *journal) next(all bool) *batch {
	j.mu.Lock()
	defer j.mu.Unlock()
	if all {
		j.closeLocked()
	}
	if len(j.full) == 0 {
		return nil
	}
	b := j.full[0]
	j.full = append(j.full[:0], j.full[1:]...)
	return b
}

func (j *journal) putBack(b *batch) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.full = append([]*batch{b}, j.full...)
}

func (j *journal) recycle(b *batch) {
	j.mu.Lock()
	defer j.mu.Unlock()
	b.values, b.Sweeps, b.Sensors = b.values[:0], b.Sweeps[:0], nil
	if len(j.spare) < 2 {
		j.spare = append(j.spare, b)
	}
}

func (j *journal) complain(err error) error {
	if err.Error() != j.bad {
		j.bad = err.Error()
		j.log.Error("sweeps could not be stored; they are kept and tried again", zap.Error(err))
	}
	return err
}

// begin has a run started by start and stores it before any of its sweeps can
// be written. It returns what start gave, also when storing failed.
func (j *journal) begin(ctx context.Context, start func() (run.Record, error)) (run.Record, error) {
	j.write.Lock()
	defer j.write.Unlock()
	d, err := start()
	if err != nil {
		return run.Record{}, err
	}
	err = j.events.Publish(func() (run.Event, error) {
		return run.Event{Kind: run.RunStarted, Run: d.Run}, j.recorder.BeginRun(ctx, d)
	})
	if err != nil {
		return d, fmt.Errorf("store the new run: %w", err)
	}
	return d, nil
}

// discard forgets the sweeps of a run that could not be stored.
func (j *journal) discard(runID string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.open != nil && j.open.RunID == runID {
		j.open = nil
	}
	j.full = slices.DeleteFunc(j.full, func(b *batch) bool { return b.RunID == runID })
}

// judge writes what is left, judges a run from its stored sweeps and stores the
// outcome.
func (j *journal) judge(ctx context.Context, d run.Record, th Thresholds) (run.Record, error) {
	if err := j.flush(ctx, true); err != nil {
		return d, err
	}
	j.write.Lock()
	defer j.write.Unlock()
	trace, err := j.recorder.Trace(ctx, d.ID)
	if err != nil {
		return d, fmt.Errorf("read back the sweeps of run %s: %w", d.ID, err)
	}
	judged, err := Judge(d, trace, th)
	if err != nil {
		return d, fmt.Errorf("judge run %s: %w", d.ID, err)
	}
	err = j.events.Publish(func() (run.Event, error) {
		return run.Event{Kind: run.RunEnded, Run: judged.Run}, j.recorder.FinishRun(ctx, judged)
	})
	if err != nil {
		return judged, fmt.Errorf("store run %s: %w", d.ID, err)
	}
	return judged, nil
}
