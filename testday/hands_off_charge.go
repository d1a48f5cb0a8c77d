package testday

import (
	"fmt"
	"time"

	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/schedule"
)

// A run on battery begins only where the charge is so far above the reserve: else the guard
// would end it before long. Where what runs take is not known, the battery is charged up to
// chargeGoal, from where it gets slow, so that hands are rare. Few batteries say 100 %.
// Common practice, no source.
const (
	chargeMargin = 0.05
	chargeGoal   = 0.8
	chargeFull   = 0.99
)

// charges are what the runs on battery take that are left of a pass, as a share of the
// battery's content; 0 where that is not known.
type charges struct {
	estimates schedule.Estimates
	reserve   float64
	pass      float64
}

// chargesOf adds up what the slots take that are left of the first pass that has some.
func chargesOf(left []schedule.SlotProgress, e schedule.Estimates, reserve float64) *charges {
	c := &charges{estimates: e, reserve: max(run.LowCharge, reserve)}
	first := 0
	for _, s := range left {
		if first == 0 || s.Pass < first {
			first = s.Pass
		}
	}
	for _, s := range left {
		if share, known := e.ChargeOf(s.Cell); known && s.Pass == first && s.Supply == run.Battery {
			c.pass += share
		}
	}
	return c
}

// least is the charge with which a run on battery may begin, and goal the one with which to
// unplug the device: it lasts for what is left of the pass, if any charge does, since a hand
// is dearer than the time that it takes to charge.
func (c *charges) least(s schedule.SlotProgress) float64 {
	share, _ := c.estimates.ChargeOf(s.Cell)
	return min(c.reserve+max(chargeMargin, share), chargeFull)
}

func (c *charges) goal(s schedule.SlotProgress) float64 {
	if c.pass == 0 {
		return max(c.least(s), chargeGoal)
	}
	return min(c.reserve+chargeMargin+c.pass, chargeFull)
}

// considerCharge says what a slot on battery needs of its charge: waiting where it is
// plugged in, else a hand. Without a goal that is known it is charged only where it has to.
func (c *chosen) considerCharge(now *float64) {
	if c.Supply != run.Battery || now == nil {
		return
	}
	least, goal := c.charges.least(c.SlotProgress), c.charges.goal(c.SlotProgress)
	switch {
	case c.status.Supply == run.Battery && *now < least:
		c.add(handSupply, true, fmt.Sprintf("plug in and charge to %.0f %%, it says when to unplug", 100*goal))
		c.later++
	case c.status.Supply == run.Mains && (*now < least || c.charges.pass > 0 && *now < goal):
		c.charge, c.least = goal, least
	}
}

// Charging that does not get on is looked at by a person. Common practice, no source.
const (
	chargePause   = 5 * time.Second
	chargeStands  = 30 * time.Minute // without 1 % more
	chargeEnough  = 5 * time.Minute  // the same where it is enough for a run: some are told to stop early
	chargePercent = 0.01
)

// waitForCharge waits until the battery has the charge that runs on battery need.
func (d *HandsOffDay) waitForCharge(t *turn, c *chosen) error {
	if !d.putBack(t.waits) { // it charges sooner
		return errAgain
	}
	first, began := *c.status.ChargeRatio, time.Now()
	best, since := first, began
	d.mu.Lock()
	enough := d.enough > 0 && best >= d.enough-chargePercent && best >= c.least
	d.mu.Unlock()
	if enough { // it was told to stop there
		c.charge = 0
		return d.waitForHand(t, d.consider(c.SlotProgress, c.status, c.can, nil))
	}
	d.tell("charging to %.0f %% for %s, then it has to be unplugged", 100*c.charge, c.Cell)
	for {
		text := fmt.Sprintf("charging to %.0f %%: %.0f %% now", 100*c.charge, 100*best)
		if rose := best - first; rose > chargePercent {
			text += ", " + sentence.About((c.charge-best)/rose*since.Sub(began).Seconds()) + " more"
		}
		d.show(Waiting, text)
		if err := t.wait(t.waits, chargePause); err != nil {
			return err
		}
		status, err := d.o.Agent.Status(t.waits)
		switch {
		case err != nil, status.Supply != c.status.Supply, status.Recording != nil, status.ChargeRatio == nil, *status.ChargeRatio >= c.charge:
			return errAgain
		case *status.ChargeRatio >= best+chargePercent:
			best, since = *status.ChargeRatio, time.Now()
		case *status.ChargeRatio >= c.least && time.Since(since) > chargeEnough:
			d.mu.Lock()
			d.enough = *status.ChargeRatio
			d.mu.Unlock()
			d.tell("the battery stays at %.0f %%, which is enough to begin", 100**status.ChargeRatio)
			return errAgain
		case time.Since(since) > chargeStands:
			return pauses("the battery does not charge: it is at %.0f %% for %.0f min, and %.0f %% are needed: see what limits it, then resume", 100*best, chargeStands.Minutes(), 100*c.least)
		}
	}
}
