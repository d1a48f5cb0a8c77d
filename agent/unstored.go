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

// Journal keeps runs that ended and that the Recorder does not take, across the agent's
// death. Calls come from one goroutine at a time.
type Journal interface {
	// Keep keeps a run in the place of what was kept of it before. It is on disk when
	// Keep returns.
	Keep(*run.Ended) error
	// Stored takes a run out.
	Stored(id string) error
}

// unstored are the runs that have ended and that the Recorder did not take yet, those
// that ended first before the others. A run is in the list from the moment of its end:
// whatever becomes of whoever stopped it, it is stored.
type unstored struct {
	journal Journal // nil: none

	storing sync.Mutex // one attempt at a time
	keeping sync.Mutex // one write to the journal at a time

	mu   sync.Mutex // guards list and what is in it but record
	list []*endedRun

	soon chan struct{} // wakes keepTrying
}

// endedRun is a run that has ended. Its record is for who holds unstored.storing.
type endedRun struct {
	run.Ended
	left   bool       // by the agent before this one
	before []run.Loss // that it had
	plain  bool       // the Recorder knows all that is known of its end
	in     run.KeptIn // "" until it could not be stored
	judged bool       // and stored: corrections alone are left
	stored run.Record // as the Recorder has it
	gone   bool       // from the list, since all of it is stored
}

// add takes a run in that has ended just now, or that the agent before left.
func (u *unstored) add(e *endedRun) *endedRun {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.list = append(u.list, e)
	return e
}

func (u *unstored) all() []*endedRun {
	u.mu.Lock()
	defer u.mu.Unlock()
	return slices.Clone(u.list)
}

// has tells whether the list has a run.
func (u *unstored) has(id string) bool {
	return slices.ContainsFunc(u.all(), func(e *endedRun) bool { return e.Record.ID == id })
}

// records are the runs that could not be stored so far, as they are kept.
func (u *unstored) records() []run.Record {
	u.mu.Lock()
	defer u.mu.Unlock()
	var list []run.Record
	for _, e := range u.list {
		if e.in != "" {
			d := e.Corrected()
			d.KeptIn = e.in
			list = append(list, d)
		}
	}
	return list
}

// next is the correction that is stored next; nil where none is left: then the run is
// none of the list's any more.
func (u *unstored) next(e *endedRun) *run.Correction {
	u.mu.Lock()
	defer u.mu.Unlock()
	if len(e.Corrections) > 0 {
		c := e.Corrections[0]
		return &c
	}
	e.gone = true
	u.list = slices.DeleteFunc(u.list, func(x *endedRun) bool { return x == e })
	return nil
}

// corrected notes that a correction is stored.
func (u *unstored) corrected(e *endedRun) {
	u.mu.Lock()
	defer u.mu.Unlock()
	e.Corrections = e.Corrections[1:]
	e.Record = e.stored
}

// keep writes a run to the journal, if there is one that works, and says how and where it
// is kept; failed is why it is in memory only.
func (u *unstored) keep(e *endedRun, lost []run.Loss) (kept run.Ended, in run.KeptIn, failed error) {
	u.keeping.Lock()
	defer u.keeping.Unlock()
	u.mu.Lock()
	e.Lost = slices.Concat(e.before, lost)
	kept = e.Ended
	u.mu.Unlock()
	in = run.InMemory
	if u.journal != nil && (!e.plain || len(kept.Corrections) > 0) {
		if failed = u.journal.Keep(&kept); failed == nil {
			in = run.InJournal
		}
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	e.in = in
	return kept, in, failed
}

// keptIn is where a run was kept that could not be stored; "" for nowhere so far.
func (u *unstored) keptIn(e *endedRun) run.KeptIn {
	u.mu.Lock()
	defer u.mu.Unlock()
	return e.in
}

// StoreEnded tries to store the runs that have ended and that could not be stored so
// far. It returns why there are any left.
func (a *Agent) StoreEnded(ctx context.Context) error {
	ctx = context.WithoutCancel(ctx) // whoever asked may leave, the runs stay
	var errs []error
	for _, e := range a.unstored.all() {
		_, err := a.storeEnded(ctx, e)
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// storeEnded judges and stores a run that has ended. Where that fails, the run is kept,
// also in the journal where that works, and the error is a *run.NotStoredError.
func (a *Agent) storeEnded(ctx context.Context, e *endedRun) (run.Record, error) {
	a.unstored.storing.Lock()
	defer a.unstored.storing.Unlock()
	if e.gone { // somebody else was faster
		return e.stored, nil
	}
	if err := a.tryToStore(ctx, e); err != nil {
		return run.Record{}, a.keepEnded(e, err)
	}
	if a.unstored.journal != nil {
		a.unstored.keeping.Lock()
		defer a.unstored.keeping.Unlock()
		if err := a.unstored.journal.Stored(e.Record.ID); err != nil {
			a.log.Error("the journal still has a run that is stored", zap.String("run", e.Record.ID), zap.Error(err))
		}
	}
	switch d := e.stored; {
	case e.plain:
		a.log.Warn("a run was interrupted when the agent died; it ends at its last stored sweep",
			zap.String("run", d.ID), zap.String("workload", d.Workload), zap.Float64p("duration_s", d.DurationS))
	case a.unstored.keptIn(e) != "" || e.left:
		a.log.Info("a run is stored that could not be when it ended", zap.String("run", d.ID), zap.String("state", string(d.State)))
	default:
		a.log.Info("run stopped", zap.String("run", d.ID), zap.String("state", string(d.State)), zap.Int("findings", len(d.Findings)))
	}
	return e.stored, nil
}

func (a *Agent) tryToStore(ctx context.Context, e *endedRun) (err error) {
	if !e.judged {
		if e.stored, err = a.judgeEnded(ctx, e); err != nil {
			return err
		}
		e.judged = true
	}
	for c := a.unstored.next(e); c != nil; c = a.unstored.next(e) {
		if e.stored, err = a.batcher.correct(ctx, e.Record.ID, *c); err != nil {
			return err
		}
		a.unstored.corrected(e)
	}
	return nil
}

// judgeEnded judges a run and stores it. One that the Recorder does not know, as where its
// data was replaced, is begun anew. One that it has already, as where the agent before
// died in between, stays as it is there.
func (a *Agent) judgeEnded(ctx context.Context, e *endedRun) (run.Record, error) {
	d, err := a.batcher.judge(ctx, e, a.opts.Thresholds)
	if errors.Is(err, run.ErrNoRun) && a.batcher.beginAnew(ctx, e.Record) == nil {
		d, err = a.batcher.judge(ctx, e, a.opts.Thresholds)
	}
	if errors.Is(err, run.ErrEnded) {
		a.log.Warn("a run was stored already", zap.String("run", e.Record.ID), zap.Any("results", e.Record.Results))
		return a.batcher.correct(ctx, e.Record.ID, run.Correction{At: e.At()})
	}
	return d, err
}

// keepEnded keeps a run that could not be stored.
func (a *Agent) keepEnded(e *endedRun, why error) error {
	first := a.unstored.keptIn(e) == ""
	kept, in, failed := a.unstored.keep(e, a.batcher.lostOf(e.Record.ID))
	if first {
		a.log.Error("a run has ended and could not be stored; it is kept and tried again", zap.String("run", kept.Record.ID),
			zap.String("kept_in", string(in)), zap.Any("results", kept.Corrected().Results), zap.Error(why), zap.NamedError("journal", failed))
	}
	offer(a.unstored.soon, struct{}{})
	return run.NotStored(&kept, in, why)
}

// errNotYet is why a correction of a run that is not stored is not stored either.
var errNotYet = errors.New("what was there before could not be stored so far, see the agent's log")

// CorrectUnstored corrects a run that has ended and could not be stored so far; false
// where it is none. The error is a *run.NotStoredError: the correction is kept with the
// run. It may be called while an event is published.
func (a *Agent) CorrectUnstored(id string, c run.Correction) (found bool, err error) {
	if err := c.Check(); err != nil {
		return false, err
	}
	u := &a.unstored
	u.mu.Lock()
	at := slices.IndexFunc(u.list, func(e *endedRun) bool { return e.Record.ID == id })
	if at < 0 {
		u.mu.Unlock()
		return false, nil
	}
	e := u.list[at]
	e.Corrections = append(slices.Clip(e.Corrections), c)
	u.mu.Unlock()
	kept, in, why := u.keep(e, a.batcher.lostOf(id))
	if why == nil {
		why = errNotYet
	}
	offer(u.soon, struct{}{})
	return true, run.NotStored(&kept, in, why)
}

// Pauses between two attempts to store what could not be stored: they double.
const (
	firstRetry = time.Second
	lastRetry  = 30 * time.Second
)

// keepTrying stores what could not be stored as soon as that works.
func (a *Agent) keepTrying(ctx context.Context) {
	timer := time.NewTimer(0)
	<-timer.C
	defer timer.Stop()
	pause, waiting := firstRetry, false
	for {
		select {
		case <-ctx.Done():
			return
		case <-a.unstored.soon:
			if waiting {
				continue
			}
			pause = firstRetry
		case <-timer.C:
			waiting = false
			if a.StoreEnded(ctx) == nil {
				continue
			}
			select { // what failed just now asked for it
			case <-a.unstored.soon:
			default:
			}
			pause = min(2*pause, lastRetry)
		}
		timer.Reset(pause)
		waiting = true
	}
}

// init takes in the runs that the agent before left in the journal.
func (u *unstored) init(j Journal, left []run.Ended) {
	u.journal, u.soon = j, make(chan struct{}, 1)
	for _, e := range left {
		u.add(&endedRun{Ended: e, left: true, before: e.Lost, in: run.InJournal})
	}
}

// Restore stores what the agent before left, as Run does first, beside the runs of the journal those that
// the Recorder has as recording.
func (a *Agent) Restore(ctx context.Context) error {
	left, err := a.opts.Recorder.Unfinished(ctx, a.device())
	if err != nil {
		err = fmt.Errorf("look for unfinished runs: %w", err)
	}
	for _, d := range left {
		if !a.unstored.has(d.ID) {
			d.State = run.Interrupted
			a.unstored.add(&endedRun{Ended: run.Ended{Record: d}, left: true, plain: true})
		}
	}
	return errors.Join(err, a.StoreEnded(ctx))
}
