package testday

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"sweepd/actuators"
	"sweepd/schedule"
)

// mostDrySlots is up to how long a plan its hands are counted one by one.
const mostDrySlots = 1000

// DryRunHandsOff says what a day would do, see HandsOffAgent.
func (d *HandsOffDay) DryRunHandsOff(ctx context.Context, _ BeginHandsOff) (r DryRun, err error) {
	r = DryRun{Writes: []DryWrite{}, Hands: []DryHand{}, Lacks: []string{}, Workloads: []DryWorkload{}, Cautions: Cautions()}
	status, err := d.o.Agent.Status(ctx)
	if err != nil {
		return r, err
	}
	d.mu.Lock()
	if c := d.kept.consent(status.Device); c != nil {
		agreed := *c
		r.Consent = &agreed
	}
	d.mu.Unlock()
	plan, err := d.o.Plan(ctx, status.Device)
	if err != nil {
		r.Lacks = append(r.Lacks, err.Error())
		return r, nil
	}
	g := plan.Progress(status.Device, time.Now())
	r.Slots, r.LeftS = g.Left, g.LeftS
	r.Lacks = append(r.Lacks, d.lacks(status, &plan, &g)...)
	if d.o.Jobs.Runner() == nil {
		r.Lacks = append(r.Lacks, NoRunner)
	}
	if err := d.mayBegin(); err != nil {
		r.Lacks = append(r.Lacks, err.Error())
	}
	d.dryValues(&r, &g)
	d.dryHands(&r, &g, plan.Estimates, status)
	return r, nil
}

// dryValues lists each value that the plan needs, in its order, and each workload.
func (d *HandsOffDay) dryValues(r *DryRun, g *schedule.Progress) {
	var seen, named []string
	for _, s := range g.Slots {
		if s.State == schedule.Done {
			continue
		}
		if !slices.Contains(named, s.Workload) {
			named = append(named, s.Workload)
			w := DryWorkload{Workload: s.Workload, Command: append([]string{}, d.o.Workloads[s.Workload].Command...)}
			if len(w.Command) == 0 {
				w.Cannot = "the configuration has no command for it"
			}
			r.Workloads = append(r.Workloads, w)
		}
		list := []setValue{}
		for k, v := range s.Variant.Pairs() {
			list = append(list, setValue{k, pairValue(v)})
		}
		list = append(list, setValue{actuators.SetsSetting, actuators.Value{Setting: s.Setting}})
		for _, v := range list {
			if slices.Contains(seen, v.String()) {
				continue
			}
			seen = append(seen, v.String())
			r.Writes = append(r.Writes, d.dryWrite(v))
		}
	}
}

func (d *HandsOffDay) dryWrite(v setValue) DryWrite {
	w := DryWrite{Value: v.String(), Steps: []actuators.Write{}}
	if !d.settable().value(v.key, v.value) {
		w.Cannot = "nothing that the configuration allows sets it: a hand does"
		if why := unwritable(d.o.Panel.Offers(), v); why != "" {
			w.Cannot = why
		}
		return w
	}
	steps, err := d.o.Panel.Steps(v.key, v.value)
	if err != nil {
		w.Cannot = err.Error()
	}
	w.Steps = append(w.Steps, steps...)
	return w
}

// dryHands counts what a person would have to do, in the order in which the day does the
// slots; batteries are taken to have the charge that they need.
func (d *HandsOffDay) dryHands(r *DryRun, g *schedule.Progress, e schedule.Estimates, status Status) {
	if len(g.Slots) > mostDrySlots {
		r.Hands = append(r.Hands, DryHand{fmt.Sprintf("what hands have to do is counted for plans of at most %d runs", mostDrySlots), 0})
		return
	}
	sim := &HandsOffDay{o: d.o}
	d.mu.Lock()
	sim.kept.Skipped, sim.kept.ByHand, sim.kept.HandSetting = d.kept.Skipped, d.kept.ByHand, d.kept.HandSetting
	d.mu.Unlock()
	if !sim.kept.HandSetting.Known() {
		sim.kept.HandSetting = status.Setting.Setting
	}
	status.ChargeRatio = nil
	h := *g
	h.Slots = slices.Clone(g.Slots)
	can := d.settable()
	for range h.Slots {
		c := sim.pick(&h, e, status, can)
		if c == nil {
			return
		}
		for _, x := range c.hands {
			i := slices.IndexFunc(r.Hands, func(y DryHand) bool { return y.What == x.text })
			if i < 0 {
				i = len(r.Hands)
				r.Hands = append(r.Hands, DryHand{What: x.text})
			}
			r.Hands[i].Times++
		}
		status.Supply = c.Supply
		if len(c.hands) > 0 {
			for i := range c.hands {
				c.hands[i].observed = false
			}
			sim.kept.confirm(c)
			if read := status.SettingRead; read != nil && slices.ContainsFunc(c.hands, func(x handStep) bool { return x.what == handSetting }) {
				now := c.Setting.From(read.Source)
				status.SettingRead = &now
			}
		}
		at := slices.IndexFunc(h.Slots, func(s schedule.SlotProgress) bool { return s.Position == c.Position })
		h.Slots[at].State = schedule.Done
	}
}

// unwritable says why a value that the configuration allows to be set cannot be: the right to
// write lacks; "" where it can, or is not allowed.
func unwritable(offers []actuators.Offer, v setValue) (why string) {
	_, inWatts := v.value.Setting.Watts()
	for _, o := range offers {
		if o.Sets != v.key || o.Allowed == nil || o.Missing != "" || v.key == actuators.SetsSetting && (o.Unit == "W") != inWatts {
			continue
		}
		if o.Writable {
			return ""
		}
		why = o.Actuator + " may set it, but cannot: " + cmp.Or(o.Needs, "this process may not write it")
	}
	return why
}

// lacksRight says what of the plan cannot be set since the right to write lacks: the day would
// ask hands for it all day long.
func (d *HandsOffDay) lacksRight(g *schedule.Progress) (list []string) {
	offers := d.o.Panel.Offers()
	seen := map[setValue]bool{}
	for _, s := range g.Slots {
		if s.State == schedule.Done {
			continue
		}
		for _, key := range append(slices.Collect(maps.Keys(s.Variant.Map())), actuators.SetsSetting) {
			v := setValue{key, valueIn(s.Cell, key)}
			if seen[v] {
				continue
			}
			seen[v] = true
			if why := unwritable(offers, v); why != "" && !slices.Contains(list, why) {
				list = append(list, why)
			}
		}
	}
	slices.Sort(list)
	return list
}
