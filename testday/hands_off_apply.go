package testday

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/actuators"
	"sweepd/run"
)

// setValue is a value of a cell that the panel sets.
type setValue struct {
	key   string
	value actuators.Value
}

// setOrder is the order in which keys are set: a governor set while processors are offline
// misses them, an energy preference waits for its governor, and some of them move the
// setting, which comes last. Others come before it.
var setOrder = []string{actuators.SetsCores, actuators.SetsGovernor, actuators.SetsEnergyPreference}

// values are what the panel sets for a cell, in order. What it can set and the cell does not
// name is there with the zero value, which stands for its first value.
func (d *HandsOffDay) values(c run.Cell, can *settable) (list []setValue) {
	var keys []string
	for _, o := range can.offers {
		if o.Allowed != nil && !slices.Contains(keys, o.Sets) {
			keys = append(keys, o.Sets)
		}
	}
	place := func(key string) int {
		if at := slices.Index(setOrder, key); at >= 0 {
			return at
		}
		if key == actuators.SetsSetting {
			return len(setOrder) + 1
		}
		return len(setOrder)
	}
	slices.SortFunc(keys, func(a, b string) int { return cmp.Or(cmp.Compare(place(a), place(b)), cmp.Compare(a, b)) })
	for _, key := range keys {
		v := setValue{key: key}
		if named := (setValue{key, valueIn(c, key)}); named.text() != "" && can.value(key, named.value) {
			v = named
		}
		list = append(list, v)
	}
	return list
}

// valueIn is the value of a key in a cell; the zero one where it does not name it.
func valueIn(c run.Cell, key string) actuators.Value {
	if key == actuators.SetsSetting {
		return actuators.Value{Setting: c.Setting}
	}
	return pairValue(valueOf(c, key))
}

// text is the value as people write it; "" for the first one.
func (v setValue) text() string {
	if v.key == actuators.SetsSetting {
		return v.value.Setting.String()
	}
	return v.value.Text
}

func (v setValue) String() string {
	switch {
	case v.text() == "":
		return "the first value of " + v.key
	case v.key == actuators.SetsSetting:
		return v.text()
	}
	return v.key + "=" + v.text()
}

// applyPause lies between two writes of one value to one place: a sweep of the guards at
// least. Common practice, no source.
const applyPause = 2 * time.Second

// apply sets what the cell of a slot needs, with the guards armed from before the first
// write on. What the cell does not name is put back.
func (d *HandsOffDay) apply(t *turn, c *chosen) error {
	d.show(Setting, "what the run needs is set")
	for _, v := range d.values(c.Cell, c.can) {
		steps, err := d.o.Panel.Steps(v.key, v.value)
		if err != nil {
			return d.valueFailed(t, c, fmt.Sprintf("%s cannot be set: %v", v, err), v)
		}
		for i, w := range steps {
			if i > 0 && slices.ContainsFunc(steps[:i], func(b actuators.Write) bool { return b.Place() == w.Place() }) {
				if err := t.wait(t.waits, applyPause); err != nil {
					return err
				}
			}
			if err := d.arm(); errors.Is(err, errTripped) {
				return err
			} else if err != nil {
				return pauses("nothing is set, since the guards cannot watch: %v", err)
			}
			if err := t.waits.Err(); err != nil {
				return errAgain
			}
			err := d.o.Panel.Apply(t.waits, w)
			d.o.Changed()
			switch {
			case t.waits.Err() != nil:
				return errAgain
			case errors.Is(err, actuators.ErrNotKept):
				return pauses("nothing is set, since the first values cannot be kept: %v", err)
			case err != nil:
				return d.valueFailed(t, c, fmt.Sprintf("%s: %v", v, err), v)
			}
		}
		d.mu.Lock()
		d.kept.worked(valueKey(v.key, v.text()))
		d.mu.Unlock()
	}
	d.declare(c.Setting)
	// What needs no write, since the device has it, is guarded too where it can be.
	if err := d.arm(); errors.Is(err, errTripped) {
		return err
	} else if err != nil {
		if len(d.o.Panel.Changed()) > 0 {
			return pauses("the guards cannot watch: %v", err)
		}
		d.tell("no guard watches, though nothing is set either: %v", err)
	}
	return nil
}

// failPause is how long it is waited after a failure before it is tried again. Common
// practice, no source.
const failPause = 10 * time.Second

// valueFailed takes note that values could not be set, or are not in force: they are put
// back, tried again a few times, then all slots that need them are skipped. Without values it
// is about all that the cell needs.
func (d *HandsOffDay) valueFailed(t *turn, c *chosen, why string, values ...setValue) error {
	if t.waits.Err() != nil {
		return errAgain
	}
	if !d.putBack(t.runs) {
		return errAgain
	}
	key := "set " + c.Cell.String()
	if len(values) > 0 {
		key = valueKey(values[0].key, values[0].text())
	}
	d.mu.Lock()
	n := d.kept.failed(key)
	d.mu.Unlock()
	if n < d.o.Tries {
		d.tell("%s; tried again (%d of %d)", why, n+1, d.o.Tries)
		d.keep(func(*handsOffKept) {})
		d.show(Waiting, "before it is tried again: "+why)
		if err := t.wait(t.waits, failPause); err != nil {
			return err
		}
		return errAgain
	}
	d.mu.Lock()
	d.kept.worked(key)
	d.mu.Unlock()
	switch {
	case len(values) == 0:
		d.skip(c, why)
	case values[0].text() == "":
		return pauses("%s: look after it, then resume", why)
	default:
		d.keep(func(k *handsOffKept) {
			k.Cannot = append(k.Cannot, cannotSet{Key: values[0].key, Value: values[0].text(), Why: oneLine(why)})
		})
	}
	return errAgain
}

// skip gives a slot up.
func (d *HandsOffDay) skip(c *chosen, why string) {
	d.tell("skipped: %s: %s", c.Cell, why)
	d.keep(func(k *handsOffKept) {
		k.worked(cellKey(c.Cell))
		k.Skipped = append(k.Skipped, skippedSlot{c.Position, c.Cell, oneLine(why)})
	})
}
