package testday

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/report/sentence"
)

// pauseError ends a turn and pauses the day, for a reason that a person has to look at.
type pauseError struct{ why string }

func (e *pauseError) Error() string { return e.why }

func pauses(format string, args ...any) error { return &pauseError{fmt.Sprintf(format, args...)} }

// errNothingLeft is that the plan has nothing left that the day could do.
var errNothingLeft = errors.New("nothing is left")

// drive does the day, turn by turn, until it is over or ctx ends, as it does with the
// agent; then the next agent goes on.
func (d *HandsOffDay) drive(ctx context.Context) {
	d.mu.Lock()
	d.since = time.Now()
	d.mu.Unlock()
	if !d.putBack(ctx) { // what an earlier process left: nothing is set on top of it
		return
	}
	saving, end := context.WithCancel(ctx)
	saved := make(chan struct{})
	go d.guarded(func() { defer close(saved); d.saveNowAndThen(saving) })
	defer func() { end(); <-saved }()
	for ctx.Err() == nil {
		d.mu.Lock()
		w, ended := d.wishes, d.kept.Going == over
		d.mu.Unlock()
		if ended {
			return
		}
		switch {
		case w.trip != nil:
			d.afterTrip(ctx, *w.trip)
		case w.stop:
			d.finish(ctx, w.why)
		case w.pause:
			d.pause(ctx, w.why)
		default:
			t := d.newTurn(ctx)
			err := d.take(t)
			d.endTurn(t)
			d.afterTurn(ctx, err)
		}
	}
	_ = d.putBackOnce() // the next agent does it again, first of all
	d.disarm()
	d.mu.Lock()
	d.countElapsedLocked()
	d.since = time.Time{}
	d.mu.Unlock()
	_ = d.save()
}

// afterTurn takes note of how a turn ended.
func (d *HandsOffDay) afterTurn(ctx context.Context, err error) {
	var pause *pauseError
	switch {
	case errors.Is(err, errNothingLeft):
		d.finish(ctx, "")
	case errors.As(err, &pause):
		d.mu.Lock()
		if !d.wishes.stop && !d.wishes.pause {
			d.wishes.pause, d.wishes.why = true, pause.why
		}
		d.mu.Unlock()
		d.tell("the day pauses: %s", pause.why)
	case !expected(err):
		d.tell("%v; it is tried again", err)
		_ = d.rest(ctx, failPause)
	}
}

// expected tells whether a turn ended as turns do.
func expected(err error) bool {
	return err == nil || slices.ContainsFunc([]error{errAgain, errInVain, errWish, errNow, errTripped, context.Canceled}, func(x error) bool { return errors.Is(err, x) })
}

// rest waits; the error is that the agent ends meanwhile.
func (d *HandsOffDay) rest(ctx context.Context, for_ time.Duration) error {
	timer := time.NewTimer(for_)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// pause puts the first values back, says that the day is paused, and waits until somebody
// wants it to go on, or to end.
func (d *HandsOffDay) pause(ctx context.Context, why string) {
	if !d.putBack(ctx) {
		return
	}
	d.mu.Lock()
	d.countElapsedLocked()
	d.since = time.Time{}
	d.shown.slot, d.shown.try = nil, 0
	again := d.kept.Going == paused // since before a restart
	if !again || why != "" {
		d.kept.Why = why
	}
	d.mu.Unlock()
	d.keep(func(k *handsOffKept) { k.Going = paused })
	d.show(Paused, "the first values are back")
	for {
		d.mu.Lock()
		w := d.wishes
		d.mu.Unlock()
		if w.stop {
			return
		}
		if !w.pause {
			break
		}
		select {
		case <-d.poked:
		case <-ctx.Done():
			return
		}
	}
	d.mu.Lock()
	d.since = time.Now()
	d.mu.Unlock()
	d.keep(func(k *handsOffKept) {
		k.Going, k.Why, k.Restarts, k.InRow = going, "", 0, 0
		k.workedAll(tripKey)
	})
	d.show(Waiting, "the day goes on")
}

// finish ends the day: what was set is put back first. why is "" where all is done.
func (d *HandsOffDay) finish(ctx context.Context, why string) {
	if !d.putBack(ctx) {
		return
	}
	d.readProgress(ctx, "")
	d.mu.Lock()
	d.countElapsedLocked()
	d.since = time.Time{}
	d.shown.slot, d.shown.try, d.hands, d.wishes = nil, 0, nil, wishes{}
	left := d.shown.progress.Left
	d.mu.Unlock()
	if why == "" {
		why = "the plan is done"
		if left > 0 {
			why = fmt.Sprintf("nothing is left that could be done: %s of the plan skipped", sentence.Counted(left, "run"))
		}
	}
	summary := append(d.summary(why), d.suspects(ctx)...)
	d.tell("the day is over: %s", why)
	d.keep(func(k *handsOffKept) { k.Going, k.Why, k.Summary = over, why, summary })
	d.show(Over, "the first values are back")
}

// mostRestarts is how often an agent may be started anew within a day before a run comes
// to an end: what kills it again and again needs a look. Common practice, no source.
const mostRestarts = 3

// goOnAfterRestart goes on with a day that another agent left.
func (d *HandsOffDay) goOnAfterRestart() {
	d.mu.Lock()
	away := d.kept.away(time.Now())
	d.mu.Unlock()
	var n int
	d.keep(func(k *handsOffKept) { k.Restarts++; n = k.Restarts })
	d.tell("the agent was started anew: what was set is put back first; a run that was in progress is repeated")
	d.mu.Lock()
	defer d.mu.Unlock()
	d.shown = shown{state: Waiting, text: "the day goes on after a restart of the agent", since: time.Now(), progress: d.kept.Progress, slots: d.kept.Slots}
	if away != "" {
		d.wishes.pause, d.wishes.why = true, away
	} else if n >= mostRestarts {
		d.wishes.pause = true
		d.wishes.why = fmt.Sprintf("the agent ended %d times before a run came to its end: see its log, then resume", n)
	}
	d.driveLocked()
}
