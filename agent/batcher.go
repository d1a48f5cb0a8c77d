package agent

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"sweepd/judge"
	"sweepd/run"
)

// batcher gathers sweeps and hands them to the Recorder before they are a second old, off
// the sampling goroutine. What cannot be written is kept and tried again, up to a bound;
// what is lost is counted.
type batcher struct {
	recorder Recorder
	interval time.Duration // between the sweeps of a run
	events   *Events
	log      *zap.Logger

	mu     sync.Mutex // guards open to writing
	open   *batch
	closed time.Duration // monotonic time of the last sweep of the batch before open
	// closedRun is the run of that batch.
	closedRun string
	full      []*batch
	spare     []*batch // written ones, for reuse
	lost      []lostStretch
	// writing is how long the Recorder takes for a batch, at most, of late.
	writing time.Duration

	write sync.Mutex // one call to the Recorder at a time
	bad   string     // the last failure's text, logged once
}

// batch is a Batch with the memory its sweeps' values live in.
type batch struct {
	run.Batch
	values []float64
	// after is the monotonic time of the sweep that what is lost is counted from if the
	// agent is killed: the run's last one before these, or else the first of these.
	after time.Duration
}

func (x *batch) last() *run.Sweep { return &x.Sweeps[len(x.Sweeps)-1] }

// lostStretch is a stretch of sweeps that will never be stored. They are of a run,
// or, where its id is "", of idle time.
type lostStretch struct {
	run.Loss
	runID string
	ended bool // sweeps after it were stored
	noted bool // with the run
}

// maxPending is how long sweeps are kept while the disk refuses them.
const maxPending = 10 * time.Minute

// A run loses at most keepWithin to a kill, or what came since its last sweep where its
// sweeps are further apart.
const keepWithin = time.Second

// Bounds of the time that is left for writing a batch: a disk that takes longer than the
// most may cost a run more than keepWithin.
const (
	leastWriting = 50 * time.Millisecond
	mostWriting  = 500 * time.Millisecond
)

// add copies a sweep. It reports whether a batch is full and wants writing.
func (b *batcher) add(device, runID string, sensors []run.Sensor, s run.Sweep) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.open != nil && b.open.RunID != runID {
		b.closeLocked()
	}
	if b.open == nil {
		b.open = b.takeLocked()
		b.open.Device, b.open.RunID, b.open.after = device, runID, s.At.Mono
		if runID == b.closedRun {
			b.open.after = b.closed
		}
	}
	x := b.open
	x.Sensors = sensors
	at := len(x.values)
	x.values = append(x.values, s.Values...)
	s.Values = x.values[at:len(x.values):len(x.values)]
	x.Sweeps = append(x.Sweeps, s)
	// Is it too late for them to be stored with the next sweep?
	if runID == "" || s.At.Mono+b.interval-x.after > keepWithin-min(max(b.writing, leastWriting), mostWriting) {
		b.closeLocked()
	}
	return len(b.full) > 0
}

// inRun tells whether the sweeps are those of a run.
func (b *batcher) inRun() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.closedRun != ""
}

func (b *batcher) takeLocked() *batch {
	if n := len(b.spare); n > 0 {
		x := b.spare[n-1]
		b.spare = b.spare[:n-1]
		return x
	}
	return &batch{}
}

func (b *batcher) closeLocked() {
	if b.open == nil {
		return
	}
	b.full = append(b.full, b.open)
	b.closed, b.closedRun = b.open.last().At.Mono, b.open.RunID
	b.open = nil
	// The oldest of the run go, or of idle time: what comes after them tells more of how
	// things are. A run that has ended keeps what it has.
	for {
		at := slices.IndexFunc(b.full, func(x *batch) bool { return x.RunID == b.closedRun })
		if b.closed-b.full[at].last().At.Mono <= maxPending {
			return
		}
		b.loseLocked(b.full[at])
		b.full = slices.Delete(b.full, at, at+1)
	}
}

// loseLocked notes that a batch will never be stored.
func (b *batcher) loseLocked(x *batch) {
	from, to := x.Sweeps[0].At.Wall, x.last().At.Wall
	i := slices.IndexFunc(b.lost, func(l lostStretch) bool { return l.runID == x.RunID && !l.ended })
	if i < 0 {
		i = len(b.lost)
		b.lost = append(b.lost, lostStretch{runID: x.RunID, Loss: run.Loss{Code: run.ReadingsLost, From: from, To: to}})
	}
	l := &b.lost[i]
	l.noted = false
	l.Sweeps += len(x.Sweeps)
	// A batch that was being written while the next was dropped may follow it.
	if from.Before(l.From) {
		l.From = from
	}
	if to.After(l.To) {
		l.To = to
	}
}

// flush writes what is full, and the open batch too when all is set.
func (b *batcher) flush(ctx context.Context, all bool) error {
	b.write.Lock()
	defer b.write.Unlock()
	for {
		x := b.next(all)
		if x == nil {
			if err := b.noteLost(ctx); err != nil {
				b.complain("what was lost could not be noted with its run; it is tried again", err)
			} else {
				b.bad = ""
			}
			return nil
		}
		began := time.Now()
		switch err := b.recorder.Append(ctx, x.Batch); {
		case err == nil:
			b.stored(x, time.Since(began))
		case errors.Is(err, run.ErrRefused):
			b.log.Error("sweeps are lost", zap.String("run", x.RunID), zap.Int("sweeps", len(x.Sweeps)), zap.Error(err))
			b.refused(x)
		default:
			b.putBack(x)
			err = fmt.Errorf("store %d sweeps of run %q: %w", len(x.Sweeps), x.RunID, err)
			b.complain("sweeps could not be stored; they are kept and tried again", err)
			return err
		}
	}
}

func (b *batcher) next(all bool) *batch {
	b.mu.Lock()
	defer b.mu.Unlock()
	if all {
		b.closeLocked()
	}
	if len(b.full) == 0 {
		return nil
	}
	x := b.full[0]
	b.full = append(b.full[:0], b.full[1:]...)
	return x
}

func (b *batcher) putBack(x *batch) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.full = append([]*batch{x}, b.full...)
}

func (b *batcher) stored(x *batch, took time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.writing = max(took, b.writing*7/8)
	for i := range b.lost {
		b.lost[i].ended = b.lost[i].ended || b.lost[i].runID == x.RunID
	}
	b.recycleLocked(x)
}

func (b *batcher) refused(x *batch) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.loseLocked(x)
	b.recycleLocked(x)
}

func (b *batcher) recycleLocked(x *batch) {
	x.values, x.Sweeps, x.Sensors = x.values[:0], x.Sweeps[:0], nil
	if len(b.spare) < 2 {
		b.spare = append(b.spare, x)
	}
}

// complain logs a failure that lasts once.
func (b *batcher) complain(what string, err error) {
	if err.Error() != b.bad {
		b.bad = err.Error()
		b.log.Error(what, zap.Error(err))
	}
}

// noteLost stores a finding with each run that lost sweeps since the last call, so
// that it is known even if the agent dies before the run is judged.
func (b *batcher) noteLost(ctx context.Context) error {
	for _, id := range b.unnoted() {
		lost := b.lostOf(id)
		finding := judge.LostFindings(lost)[0]
		if id == "" { // idle: nobody asks later
			b.forgetLost(id)
		} else if _, err := b.recorder.Correct(ctx, id, run.Correction{Findings: map[run.Code]*run.Finding{finding.Code: &finding}}); err != nil {
			return fmt.Errorf("note what is lost of run %s: %w", id, err)
		}
		b.log.Error("sweeps were lost", zap.String("run", id), zap.String("finding", finding.Text))
		b.noted(id)
	}
	return nil
}

// unnoted are the runs that lost sweeps since the last call of noteLost.
func (b *batcher) unnoted() (ids []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, l := range b.lost {
		if !l.noted && !slices.Contains(ids, l.runID) {
			ids = append(ids, l.runID)
		}
	}
	return ids
}

func (b *batcher) lostOf(runID string) (lost []run.Loss) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, l := range b.lost {
		if l.runID == runID {
			lost = append(lost, l.Loss)
		}
	}
	return lost
}

func (b *batcher) noted(runID string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.lost {
		b.lost[i].noted = b.lost[i].noted || b.lost[i].runID == runID
	}
}

func (b *batcher) forgetLost(runID string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.lost = slices.DeleteFunc(b.lost, func(l lostStretch) bool { return l.runID == runID })
}

// begin calls start, which starts a run, and stores the run before any of its sweeps
// can be written. It returns what start gave, also when storing failed.
func (b *batcher) begin(ctx context.Context, start func() (run.Record, error)) (run.Record, error) {
	b.write.Lock()
	defer b.write.Unlock()
	d, err := start()
	if err != nil {
		return run.Record{}, err
	}
	err = b.events.Publish(func() (run.Event, error) {
		return run.Event{Kind: run.RunStarted, Run: d.Run}, b.recorder.BeginRun(ctx, d)
	})
	if err != nil {
		return d, fmt.Errorf("store the new run: %w", err)
	}
	return d, nil
}

// discard forgets the sweeps of a run that could not be stored.
func (b *batcher) discard(runID string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.open != nil && b.open.RunID == runID {
		b.open = nil
	}
	b.full = slices.DeleteFunc(b.full, func(x *batch) bool { return x.RunID == runID })
}

// judge writes what is left, judges a run that has ended from its stored sweeps and
// stores the outcome.
func (b *batcher) judge(ctx context.Context, e *endedRun, th judge.Thresholds) (run.Record, error) {
	d := e.Record
	if err := b.flush(ctx, true); err != nil {
		return d, err
	}
	b.write.Lock()
	defer b.write.Unlock()
	trace, err := b.recorder.Trace(ctx, d.ID)
	if err != nil {
		return d, fmt.Errorf("read back the sweeps of run %s: %w", d.ID, err)
	}
	lost := b.lostOf(d.ID)
	if e.left {
		if lost, err = lostWith(trace, e); err != nil {
			return d, fmt.Errorf("count the sweeps of run %s: %w", d.ID, err)
		}
	}
	judged, err := judge.Judge(d, lossyTrace{trace, lost}, th)
	if err != nil {
		return d, fmt.Errorf("judge run %s: %w", d.ID, err)
	}
	err = b.events.Publish(func() (run.Event, error) {
		return run.Event{Kind: run.RunEnded, Run: judged.Run}, b.recorder.FinishRun(ctx, judged)
	})
	if err != nil {
		return judged, fmt.Errorf("store run %s: %w", d.ID, err)
	}
	b.forgetLost(d.ID)
	return judged, nil
}

// lostWith tells of the sweeps that were lost with the agent that took them: those that
// it told of, and as many as are missing at the end of what was stored.
func lostWith(trace run.Trace, e *endedRun) ([]run.Loss, error) {
	there, last := 0, e.Record.StartedAt.Time
	err := trace.Each(func(s run.Sweep) error {
		there, last = there+1, s.At.Wall
		return nil
	})
	for _, l := range slices.Concat(e.before, trace.Lost()) {
		there += l.Sweeps
	}
	if err != nil || there >= e.Sweeps {
		return e.before, err
	}
	return append(slices.Clip(e.before), run.Loss{Code: run.ReadingsLost, From: last, To: e.At(), Sweeps: e.Sweeps - there}), nil
}

// correct changes a stored run and tells of it.
func (b *batcher) correct(ctx context.Context, id string, c run.Correction) (d run.Record, err error) {
	b.write.Lock()
	defer b.write.Unlock()
	err = b.events.Publish(func() (run.Event, error) {
		if d, err = b.recorder.Correct(ctx, id, c); err != nil {
			err = fmt.Errorf("correct run %s: %w", id, err)
		}
		return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
	})
	return d, err
}

// beginAnew stores a run that has ended as one that begins.
func (b *batcher) beginAnew(ctx context.Context, d run.Record) error {
	d.State, d.DurationS, d.Results, d.Findings = run.Recording, nil, map[string]run.Result{}, nil
	b.write.Lock()
	defer b.write.Unlock()
	return b.recorder.BeginRun(ctx, d)
}

// lossyTrace is a stored trace that also tells of the sweeps that were never stored.
type lossyTrace struct {
	run.Trace
	lost []run.Loss
}

func (t lossyTrace) Lost() []run.Loss { return slices.Concat(t.lost, t.Trace.Lost()) }
