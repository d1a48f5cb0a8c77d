package testday

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"sweepd/run"
)

const (
	defaultJobTimeout = time.Hour
	// jobGrace is what a runner gets beyond the timeout of a job, which it ends itself.
	jobGrace = 30 * time.Second
	// watchPause is how often it is looked whether the run is still the one that is recorded.
	watchPause = 2 * time.Second
)

// Why a job is ended while its run goes on.
var (
	errTooLong  = errors.New("the runner did not end it in time")
	errNotOurs  = errors.New("somebody else ended the run")
	errStopping = errors.New("its end could not be told to the agent")
)

// carryOut starts a run of the slot, has the runner carry out its workload, stops the run
// and judges it.
func (d *HandsOffDay) carryOut(t *turn, c *chosen) error {
	w := d.o.Workloads[c.Workload]
	r, err := d.o.Agent.StartRun(t.waits, run.Start{Workload: c.Workload, Setting: c.Setting, Variant: c.Variant, By: ByPlan})
	switch {
	case errors.Is(err, run.ErrRecording), t.waits.Err() != nil && err != nil:
		return errAgain
	case err != nil:
		return d.startFailed(t, fmt.Sprintf("no run could be started: %v", err))
	}
	d.mu.Lock()
	d.shown.run, d.ours = r.ID, r.ID
	d.kept.worked(startKey)
	d.kept.HandText = ""
	d.mu.Unlock()
	d.show(Running, "run "+run.ShortID(r.ID)+" is recorded")
	d.o.Guards.Expect(c.Supply)
	d.o.Guards.RunnerBusy(true)
	done, failure := d.job(t, r, w)
	d.o.Guards.RunnerBusy(false)
	d.o.Guards.Expect(run.SupplyUnknown)

	e := ending{run: r, chosen: c, done: done, workload: w}
	switch {
	case t.runs.Err() != nil: // a guard, stop now, or the end of the agent: what was set goes first
		_ = d.putBackOnce() // again, and said where it fails, before the day is paused or over
		if d.agentEnds() {
			return errAgain // which ends the run; the next agent repeats it
		}
		e.ended, e.slotsFault = d.whyEnded()
	case failure != nil: // a runner that is gone, say
		_ = d.putBackOnce()
		e.failure = failure.Error()
		var lost *RunnerLostError
		e.runnerLost = errors.As(failure, &lost)
	default:
		e.looks = true
	}
	err = d.endRun(t, e)
	d.mu.Lock()
	d.shown.run = ""
	d.mu.Unlock()
	if uncounted := d.readProgress(t.runs, r.ID); err == nil && uncounted != "" {
		err = pauses("run %s is well, but the plan does not count it: %s", run.ShortID(r.ID), uncounted)
	}
	d.show(Cooling, "after run "+run.ShortID(r.ID))
	return cmp.Or(d.afterRun(t, err), err)
}

// startKey is what runs are counted by that could not be started.
const startKey = "start"

// startFailed takes note that no run could be started, which is no slot's fault.
func (d *HandsOffDay) startFailed(t *turn, why string) error {
	d.mu.Lock()
	n := d.kept.failed(startKey)
	d.mu.Unlock()
	if n >= d.o.Tries {
		d.mu.Lock()
		d.kept.worked(startKey)
		d.mu.Unlock()
		return pauses("%s", why)
	}
	d.tell("%s; tried again (%d of %d)", why, n+1, d.o.Tries)
	return t.wait(t.waits, failPause)
}

// inRowTries is how many times the tries of a slot runs may come to nothing in a row: then
// it is no slot's fault either. Common practice, no source.
const inRowTries = 2

// afterRun waits before a run that came to nothing is repeated, and pauses where that goes
// on and on.
func (d *HandsOffDay) afterRun(t *turn, err error) error {
	if !errors.Is(err, errInVain) {
		return nil
	}
	if err := d.tooManyInRow(); err != nil {
		return err
	}
	return t.wait(t.waits, failPause)
}

// tooManyInRow pauses where so many runs in a row came to nothing that it is no slot's fault.
func (d *HandsOffDay) tooManyInRow() error {
	d.mu.Lock()
	n, asked := d.kept.InRow, d.wishes.stop || d.wishes.trip != nil
	d.mu.Unlock()
	if n < inRowTries*d.o.Tries || asked {
		return nil
	}
	return pauses("%d runs in a row came to nothing: see what was said of them, then resume", n)
}

// errInVain is that a run came to nothing.
var errInVain = errors.New("the run came to nothing")

// agentEnds tells whether the agent does.
func (d *HandsOffDay) agentEnds() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ctx.Err() != nil
}

// job has the runner carry out the workload of a run, until it ends or has to.
func (d *HandsOffDay) job(t *turn, r run.Run, w WorkloadCommand) (JobDone, error) {
	timeout := w.Timeout
	if timeout <= 0 {
		timeout = defaultJobTimeout
	}
	ctx, end := context.WithCancelCause(t.runs)
	defer end(nil)
	ctx, cancel := context.WithTimeoutCause(ctx, timeout+jobGrace, errTooLong)
	defer cancel()
	watched := make(chan struct{})
	go d.guarded(func() {
		defer close(watched)
		d.watchRun(ctx, r.ID, end)
	})
	j := Job{ID: rand.Text(), Run: r.ID, Workload: r.Workload, Command: w.Command, ResultFrom: w.ResultFrom, TimeoutS: timeout.Seconds()}
	done, err := d.o.Jobs.Carry(ctx, j, func() {})
	cause := context.Cause(ctx)
	cancel()
	<-watched
	switch {
	case errors.Is(cause, errNotOurs), errors.Is(cause, errTooLong):
		return done, cause
	case err != nil:
		return done, err
	}
	return done, nil
}

// watchRun ends the job of a run that somebody else has ended.
func (d *HandsOffDay) watchRun(ctx context.Context, id string, end context.CancelCauseFunc) {
	tick := time.NewTicker(watchPause)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		s, err := d.o.Agent.Status(ctx)
		if err == nil && (s.Recording == nil || s.Recording.ID != id) {
			end(errNotOurs)
			return
		}
	}
}

// whyEnded says why a run was ended before its workload was.
// slots tells that the slot itself may be the reason.
func (d *HandsOffDay) whyEnded() (why string, slots bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch w := d.wishes; {
	case w.trip != nil:
		return fmt.Sprintf("a guard ended it (%s): %s", w.trip.Guard, w.trip.Text), !w.trip.Waits && !w.trip.Ends
	case w.stop:
		return "the day was " + w.why, false
	}
	return "it was to end", false
}

// A stop that the agent could not take is repeated. Common practice, no source.
const (
	stopTries   = 5
	stopPause   = 2 * time.Second
	stopTimeout = time.Minute
)

// stop stops the run, whatever was asked for meanwhile.
func (d *HandsOffDay) stop(s run.Stop) (record run.Record, err error) {
	for i := range stopTries {
		if i > 0 {
			if d.agentEnds() { // which ends the run itself
				break
			}
			time.Sleep(stopPause)
		}
		ctx, cancel := context.WithTimeout(context.Background(), stopTimeout)
		record, err = Stop(ctx, d.o.Agent, s)
		cancel()
		var ended *EndedError
		var kept *run.NotStoredError
		switch {
		case err == nil:
			return record, nil
		case errors.As(err, &ended):
			d.tell("%v", err)
			return ended.Run, nil
		case errors.As(err, &kept):
			d.tell("%v", err)
			return kept.Run, nil
		}
	}
	return record, fmt.Errorf("%w: run %s: %w", errStopping, run.ShortID(s.Run), err)
}
