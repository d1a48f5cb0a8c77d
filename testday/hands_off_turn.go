package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"sweepd/run"
)

// take does one slot, or what comes before the next one can be done.
func (d *HandsOffDay) take(t *turn) error {
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
	want := c.Want()
	want.Setting = run.Setting{} // is not in force yet
	want.MinCharge = 0           // consider has looked at it
	state := Waiting
	if d.justRan() {
		state = Cooling
	}
	if err := d.waitFit(t, want, state, fitMost); err != nil {
		return err
	}
	if err := d.apply(t, c); err != nil {
		return err
	}
	if err := d.settle(t, c); err != nil {
		return err
	}
	return d.carryOut(t, c)
}

// justRan tells whether the device has a run behind it.
func (d *HandsOffDay) justRan() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.shown.state == Running || d.shown.state == Cooling
}

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
	d.tell("%s", text)
	d.show(Waiting, text)
	select {
	case <-changed:
		return errAgain
	case <-t.waits.Done():
		return context.Cause(t.waits)
	}
}

// How long it is waited for the device to be fit before a person is asked: to cool down, and
// once the setting is in force for what the system reports. Common practice, no source.
const (
	fitMost    = 30 * time.Minute
	fitApplied = time.Minute
)

// waitFit waits until the device is fit for a run, as WaitReady does. It pauses the day
// where that takes too long; what a hand has changed meanwhile is looked at again.
func (d *HandsOffDay) waitFit(t *turn, want run.Want, state HandsOffState, most time.Duration) error {
	late := fmt.Errorf("it was waited for %.0f min", most.Minutes())
	ctx, cancel := context.WithTimeoutCause(t.waits, most, late)
	defer cancel()
	var last run.Readiness
	_, err := WaitReady(ctx, d.o.Agent, want, false, func(r run.Readiness) {
		last = r
		d.show(state, WaitingSentence(r))
	})
	switch {
	case err == nil:
		return nil
	case t.waits.Err() != nil:
		return context.Cause(t.waits)
	case errors.Is(context.Cause(ctx), late):
		return &unfitForLong{pauses("the device is not fit to start after %.0f min: %s", most.Minutes(), ReasonsSentence(last))}
	case last.ByHand() && want.Supply != run.SupplyUnknown && hasReason(last, run.SupplyChanged):
		return errAgain // somebody plugged or unplugged it
	}
	return &unfitForLong{pauses("%v", err)}
}

// unfitForLong is that a device does not become fit by waiting.
type unfitForLong struct{ pause error }

func (e *unfitForLong) Error() string { return e.pause.Error() }
func (e *unfitForLong) Unwrap() error { return e.pause }

func hasReason(r run.Readiness, code run.Code) bool {
	for _, x := range r.Reasons {
		if x.Code == code {
			return true
		}
	}
	return false
}

// settle waits until a setting that was written is in force, then looks whether it is.
func (d *HandsOffDay) settle(t *turn, c *chosen) error {
	d.show(Settling, fmt.Sprintf("letting the device settle for %s", c.Cell))
	if err := t.wait(t.waits, d.o.Settle); err != nil {
		return err
	}
	if off := d.notInForce(t.waits); off != "" {
		return d.valueFailed(t, c, off)
	}
	want := c.Want()
	want.MinCharge = 0
	var unfit *unfitForLong
	err := d.waitFit(t, want, Settling, fitApplied)
	if errors.As(err, &unfit) { // what the system reports is not what was set, say
		return d.valueFailed(t, c, unfit.Error())
	}
	return err
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
