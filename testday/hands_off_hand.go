package testday

import (
	"context"
	"strings"
	"time"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/schedule"
)

// handStep is one thing that a person does. What can be observed is waited for; the rest
// has to be confirmed.
type handStep struct {
	what     handKind
	text     string
	observed bool // it will be seen when it is done
}

type handKind uint8

const (
	handSupply handKind = iota
	handVariant
	handSetting
)

// settable tells what can be set by the panel, by key and kind of value.
type settable struct {
	panel  Panel
	offers []actuators.Offer
	sets   map[string]bool
}

func (d *HandsOffDay) settable() *settable {
	return &settable{d.o.Panel, d.o.Panel.Offers(), map[string]bool{}}
}

// value tells whether the panel sets such a value of a key.
func (s *settable) value(key string, v actuators.Value) bool {
	is, asked := s.sets[key]
	if !asked {
		is = s.panel.Sets(key)
		s.sets[key] = is
	}
	if !is || key != actuators.SetsSetting {
		return is
	}
	_, inWatts := v.Setting.Watts()
	for _, o := range s.offers { // one that takes names sets no watts, nor the other way round
		if o.Sets == key && o.Allowed != nil && o.Missing == "" && (o.Unit == "W") == inWatts {
			return true
		}
	}
	return false
}

// pairValue is the value of a variant's pair.
func pairValue(value string) actuators.Value { return actuators.Value{Text: value} }

// valueOf is the value of a key in a cell, as text; "" where it does not name it.
func valueOf(c run.Cell, key string) string {
	if key == actuators.SetsSetting {
		return c.Setting.String()
	}
	v, _ := c.Variant.Get(key)
	return v
}

// consider says what a slot needs of hands; without charges the battery has what it needs.
func (d *HandsOffDay) consider(s schedule.SlotProgress, status Status, can *settable, ahead *charges) *chosen {
	c := &chosen{SlotProgress: s, status: status, can: can, charges: ahead}
	d.mu.Lock()
	byHand, inForce := d.kept.ByHand, d.kept.HandSetting
	d.mu.Unlock()

	if ahead != nil {
		c.considerCharge(status.ChargeRatio)
	}
	as := s.Slot // the device as it is in all but what is looked at
	as.NeedsCharge, as.WaitS = nil, 0
	if s.Supply != status.Supply && c.charge == 0 {
		now := as.Cell
		now.Supply = status.Supply
		c.add(handSupply, true, schedule.ManualSteps(now, as)...)
	}

	now, pairs := as.Cell, byHand.Map()
	for k, v := range s.Variant.Pairs() {
		if can.value(k, pairValue(v)) {
			pairs[k] = v
		}
	}
	for k := range pairs {
		if _, named := s.Variant.Get(k); !named && can.value(k, actuators.Value{}) {
			delete(pairs, k)
		}
	}
	now.Variant = run.NewVariant(pairs)
	c.add(handVariant, false, schedule.ManualSteps(now, as)...)

	if !can.value(actuators.SetsSetting, actuators.Value{Setting: s.Setting}) {
		now := as.Cell
		read := status.SettingRead
		comparable := read != nil && read.Known() && (read.Name() == "") == (s.Setting.Name() == "")
		if now.Setting = inForce; comparable {
			now.Setting = read.Setting
		}
		c.add(handSetting, comparable, schedule.ManualSteps(now, as)...)
	}
	return c
}

func (c *chosen) add(what handKind, observed bool, texts ...string) {
	for _, text := range texts {
		c.hands = append(c.hands, handStep{what, text, observed})
	}
}

// toil is how many things a person has to do for it; charging first costs time instead, and
// the hand that unplugs.
func (c *chosen) toil() int {
	if c.charge > 0 {
		return len(c.hands) + 1
	}
	return len(c.hands) + c.later
}

// observable are the texts of steps that are seen when they are done.
func observable(list []handStep) (texts []string) {
	for _, x := range list {
		if x.observed {
			texts = append(texts, x.text)
		}
	}
	return texts
}

// How often it is looked whether a hand was there, and how long at most until the plan is
// read anew. Common practice, no source.
const (
	handPause = time.Second
	handReads = time.Minute
)

// waitForHand says what a person has to do, and waits until something of it is done.
// Meanwhile nothing is set: whoever changes things by hand finds the device as it was.
func (d *HandsOffDay) waitForHand(t *turn, c *chosen) error {
	if !d.putBack(t.waits) {
		return errAgain
	}
	texts := make([]string, len(c.hands))
	for i, x := range c.hands {
		texts[i] = x.text
	}
	text := "a hand is needed: " + strings.Join(texts, "; ")
	if len(observable(c.hands)) < len(c.hands) {
		text += "; then resume, since not all of it can be seen"
	}
	d.mu.Lock()
	anew := d.shown.state != Hand || d.shown.text != oneLine(text)
	first := d.shown.state != Hand && d.kept.HandText != oneLine(text) // else it is the same hand, after a pause
	d.hands = c.hands
	if anew {
		d.wishes.confirmed = false // was said of something else
	}
	d.mu.Unlock()
	if anew {
		d.tell("%s", text)
	}
	if first {
		d.keep(func(k *handsOffKept) { k.Hands++; k.HandText = oneLine(text) })
	}
	d.show(Hand, text)
	for began := time.Now(); time.Since(began) < handReads; {
		d.mu.Lock()
		confirmed := d.wishes.confirmed
		d.wishes.confirmed = false
		d.mu.Unlock()
		if confirmed {
			d.keep(func(k *handsOffKept) { k.confirm(c) })
			return errAgain
		}
		status, err := d.o.Agent.Status(t.waits)
		if err != nil {
			return errAgain
		}
		if now := d.consider(c.SlotProgress, status, c.can, c.charges); !sameHands(now, c) || status.Recording != nil {
			return errAgain
		}
		select {
		case <-d.poked: // perhaps confirmed
		case <-time.After(handPause):
		case <-t.waits.Done():
			return context.Cause(t.waits)
		}
	}
	return errAgain
}

func sameHands(a, b *chosen) bool {
	if len(a.hands) != len(b.hands) || a.charge != b.charge {
		return false
	}
	for i := range a.hands {
		if a.hands[i] != b.hands[i] {
			return false
		}
	}
	return true
}

// confirm notes that a person set what cannot be observed.
func (k *handsOffKept) confirm(c *chosen) {
	for _, x := range c.hands {
		switch {
		case x.observed:
		case x.what == handVariant:
			k.ByHand = c.Variant
		case x.what == handSetting:
			k.HandSetting = c.Setting
		}
	}
}
