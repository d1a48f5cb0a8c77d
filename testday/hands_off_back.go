package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"sweepd/run"
)

// Putting the first values back is bounded in time, and tried again for as long as it
// fails. Common practice, no source.
const (
	backTimeout = time.Minute
	backPause   = 5 * time.Second
	backTold    = time.Minute // between two sentences about it
)

// putBackOnce puts the first values back; no cancel reaches it.
func (d *HandsOffDay) putBackOnce() error {
	ctx, cancel := context.WithTimeout(context.Background(), backTimeout)
	defer cancel()
	return d.o.Panel.Restore(ctx)
}

// putBack puts the first values back, and goes on trying where that fails; false where the
// agent ended meanwhile. Then nothing is guarded any more.
func (d *HandsOffDay) putBack(ctx context.Context) bool {
	var told time.Time
	for {
		err := d.putBackOnce()
		if err == nil {
			d.disarm()
			d.undeclare()
			d.o.Changed()
			return true
		}
		text := fmt.Sprintf("what was set cannot be put back, and it is tried again; by hand: `sweepd actuators restore`%s; %s", d.stillSet(), strings.Join(strings.Fields(err.Error()), " "))
		d.mu.Lock()
		state := d.shown.state
		d.mu.Unlock()
		d.show(state, text)
		if told.IsZero() || time.Since(told) >= backTold {
			told = time.Now()
			d.tell("%s", text)
		}
		if d.rest(ctx, backPause) != nil {
			return false
		}
	}
}

// declareTimeout bounds a declaration. Common practice, no source.
const declareTimeout = 10 * time.Second

// declare says that a setting is in force, whose sweeps are labelled with it.
func (d *HandsOffDay) declare(s run.Setting) {
	d.mu.Lock()
	there := d.kept.Declared
	d.kept.Declared = true
	d.mu.Unlock()
	if !there {
		d.keep(func(*handsOffKept) {})
	}
	ctx, cancel := context.WithTimeout(context.Background(), declareTimeout)
	defer cancel()
	if _, err := d.o.Agent.Declare(ctx, s, ByPlan); err != nil {
		d.tell("%s could not be declared: %v", s, err)
	}
}

// undeclare declares what was declared before the day, or nothing, once what the day set is
// put back.
func (d *HandsOffDay) undeclare() {
	d.mu.Lock()
	there, former := d.kept.Declared, d.kept.Former
	d.mu.Unlock()
	if !there {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), declareTimeout)
	defer cancel()
	if _, err := d.o.Agent.Declare(ctx, former.Setting, cmp.Or(former.By, ByPlan)); err != nil {
		d.tell("the setting that was declared before the day could not be declared again: %v", err)
		return
	}
	d.keep(func(k *handsOffKept) { k.Declared = false })
}

// stillSet names what is not as it was first, and what that was.
func (d *HandsOffDay) stillSet() string {
	list := d.o.Panel.Changed()
	if len(list) == 0 {
		return ""
	}
	more := ""
	if n := len(list) - 1; n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	return fmt.Sprintf("; still set: %s is %s, was %s%s", list[0].Place(), list[0].Text, list[0].Was, more)
}

// arm has the guards watch; a trip goes to tripped. It is errTripped where that is at once.
func (d *HandsOffDay) arm() error {
	d.mu.Lock()
	armed := d.armed
	d.armed = true
	d.mu.Unlock()
	if armed {
		return nil
	}
	err := d.o.Guards.Arm(func(t Tripped) { d.guarded(func() { d.tripped(t) }) })
	if err != nil {
		d.mu.Lock()
		d.armed = false
		d.mu.Unlock()
	}
	var now *TrippedError
	if errors.As(err, &now) {
		d.tripped(now.Tripped)
		return errTripped
	}
	return err
}

func (d *HandsOffDay) disarm() {
	d.mu.Lock()
	armed := d.armed
	d.armed = false
	d.mu.Unlock()
	if armed {
		d.o.Guards.Disarm()
	}
}

// tripHead is how much of the time a restore has for itself before the run is ended too:
// one that hangs keeps no workload going. Common practice, no source.
const tripHead = 2 * time.Second

// tripped is called by a guard: the first values go back at once, then what runs is ended.
// Nothing here waits for what the day does.
func (d *HandsOffDay) tripped(t Tripped) {
	d.mu.Lock()
	d.armed = false
	var turn *turn
	if d.wishes.trip == nil {
		d.wishes.trip = &t
		turn = d.turn
		if d.shown.run != "" {
			d.shown.text = oneLine("a guard ends run " + run.ShortID(d.shown.run) + " and its workload: " + t.Text)
		}
		d.heedLocked()
	}
	d.mu.Unlock()
	back := make(chan struct{})
	go d.guarded(func() {
		defer close(back)
		_ = d.putBackOnce() // the day does it again, and says so where it fails
	})
	timer := time.NewTimer(tripHead)
	defer timer.Stop()
	select {
	case <-back:
	case <-timer.C:
	}
	if turn != nil {
		turn.endRuns(errTripped)
	}
	d.tell("a guard trips (%s): %s", t.Guard, t.Text)
	<-back
}

// A guard may trip so often, until a run counts, before a person has to say that the day goes
// on: once where it may have been a sensor that jumped, more often where the day waits for
// what is needed next, such as the plug. Common practice, no source.
const (
	tripsAlone   = 1
	tripsWaiting = 5
	tripKey      = "trip "
	// tripRest is how long the device rests before the day goes on.
	tripRest = time.Minute
)

// afterTrip goes on, pauses or ends the day for a guard; the run has been ended.
func (d *HandsOffDay) afterTrip(ctx context.Context, t Tripped) {
	if !d.putBack(ctx) { // before the wish is forgotten
		return
	}
	why := fmt.Sprintf("a guard tripped (%s): %s", t.Guard, t.Text)
	d.mu.Lock()
	n, most := d.kept.failed(tripKey+t.Guard), tripsAlone
	if t.Waits {
		most = tripsWaiting
	}
	d.wishes.trip = nil
	ends := t.Ends || d.wishes.stop
	pauses := !ends && n > most
	if pauses {
		d.wishes.pause, d.wishes.why = true, why
	}
	d.mu.Unlock()
	switch {
	case ends:
		d.finish(ctx, why)
	case pauses && n > 1:
		d.tell("the day pauses: that guard tripped %d times before a run counted", n)
	case !pauses:
		d.tell("the first values are back: the day goes on by itself when it can")
		d.show(Cooling, "after a guard tripped: "+t.Text)
		if !t.Waits { // else it is told at once what is needed
			d.mu.Lock()
			d.rests = time.Now().Add(tripRest)
			d.mu.Unlock()
		}
		d.keep(func(*handsOffKept) {})
	}
}
