package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// take does one slot, or what comes before the next one can be done.
func (d *HandsOffDay) take(t *turn) error {
	d.mu.Lock()
	rest := time.Until(d.rests)
	d.mu.Unlock()
	if err := t.wait(t.waits, rest); err != nil {
		return err
	}
	c, err := d.choose(t)
	switch {
	case err != nil:
		return err
	case len(c.hands) > 0:
		return d.waitForHand(t, c)
	case c.charge > 0:
		return d.waitForCharge(t, c)
	}
	if err := d.awaitRunner(t); err != nil {
		return err
	}
	state := Waiting
	if d.justRan() {
		state = Cooling
	}
	if err := d.waitFit(t, c, state); err != nil {
		return err
	}
	if d.o.Jobs.Runner() == nil { // it left meanwhile
		return errAgain
	}
	if err := d.apply(t, c); err != nil {
		return err
	}
	if err := d.settle(t, c); err != nil {
		return err
	}
	if d.o.Jobs.Runner() == nil {
		return errAgain
	}
	return d.carryOut(t, c)
}

// justRan tells whether the device has a run behind it.
func (d *HandsOffDay) justRan() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.shown.state == Running || d.shown.state == Cooling
}

// runnerTold is how long it is waited for a runner before that is told: one may be about to
// come. Common practice, no source.
const runnerTold = 3 * time.Second

// awaitRunner waits until a runner is there. Meanwhile nothing is set.
func (d *HandsOffDay) awaitRunner(t *turn) error {
	changed := d.o.Jobs.Changed()
	if d.o.Jobs.Runner() != nil {
		return nil
	}
	if !d.putBack(t.waits) {
		return errAgain
	}
	const text = "waiting for a runner, which starts the workloads: `sweepd plan runner` in the desktop session of the user who is to run them"
	d.show(Waiting, text)
	late := time.NewTimer(runnerTold)
	defer late.Stop()
	for {
		select {
		case <-changed:
			return errAgain
		case <-t.waits.Done():
			return context.Cause(t.waits)
		case <-late.C:
			d.tell("%s", text)
		}
	}
}

// How long it is waited for the device to be fit before that is told, and before a person is
// asked. Common practice, no source.
const (
	fitTold = 5 * time.Minute
	fitMost = 30 * time.Minute
)

// waitFit waits until the device is fit for a run of the slot, as WaitReady does. It pauses
// the day where that takes too long; what a hand has changed meanwhile is looked at again.
func (d *HandsOffDay) waitFit(t *turn, c *chosen, state HandsOffState) error {
	want := c.Want()
	want.MinCharge = 0 // consider has looked at it
	late := fmt.Errorf("it was waited for %.0f min", fitMost.Minutes())
	ctx, cancel := context.WithTimeoutCause(t.waits, fitMost, late)
	defer cancel()
	var last run.Readiness
	began, told := time.Now(), false
	_, err := WaitReady(ctx, whateverIsSet{d.o.Agent}, want, false, func(r run.Readiness) {
		last = r
		d.show(state, WaitingSentence(r))
		if !told && time.Since(began) > fitTold {
			told = true
			d.tell("%s", WaitingSentence(r))
		}
	})
	switch {
	case err == nil:
		return nil
	case t.waits.Err() != nil:
		return context.Cause(t.waits)
	case errors.Is(context.Cause(ctx), late):
		return pauses("the device is not fit to start after %.0f min: %s", fitMost.Minutes(), ReasonsSentence(last))
	case slices.ContainsFunc(last.Reasons, func(x run.Reason) bool { return x.Code == run.SupplyChanged }):
		return errAgain // somebody plugged or unplugged it
	}
	return pauses("%v", err)
}

// whateverIsSet is an agent that looks at a device whose setting is not in force yet: that
// what is declared disagrees with what the system reports keeps no run from starting.
type whateverIsSet struct{ Agent }

func (a whateverIsSet) Ready(ctx context.Context, w run.Want) (run.Readiness, error) {
	r, err := a.Agent.Ready(ctx, w)
	r.Reasons = slices.DeleteFunc(slices.Clone(r.Reasons), func(x run.Reason) bool { return x.Code == run.SettingDisagrees })
	r.Fit = err == nil && len(r.Reasons) == 0
	return r, err
}

// settle waits until a setting that was written is in force, then looks whether it is.
func (d *HandsOffDay) settle(t *turn, c *chosen) error {
	d.show(Settling, "the device settles")
	if err := t.wait(t.waits, d.o.Settle); err != nil {
		return err
	}
	if off := d.notInForce(t.waits); off != "" {
		return d.valueFailed(t, c, off)
	}
	return d.waitFit(t, c, Settling) // the supply may have changed
}

// notInForce says which places read otherwise than they were set; "" for none.
func (d *HandsOffDay) notInForce(ctx context.Context) string {
	ctx, cancel := context.WithTimeout(ctx, readTimeout)
	defer cancel()
	for _, w := range d.o.Panel.NotInForce(ctx) {
		return fmt.Sprintf("%s was set to %q and reads %q", w.Place(), w.Text, cmp.Or(w.Was, "nothing"))
	}
	return ""
}

// readTimeout bounds the reading of all places. Common practice, no source.
const readTimeout = 15 * time.Second
