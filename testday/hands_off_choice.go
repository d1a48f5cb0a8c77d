package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

// chosen is the slot that a turn is about.
type chosen struct {
	schedule.SlotProgress
	status Status
	hands  []handStep // what a person has to do before
	later  int        // and then once more
	// charge is up to where the battery is charged first, by waiting; 0 for no waiting.
	charge  float64
	least   float64   // that is enough
	runs    []run.Run // of the plan so far
	can     *settable
	charges *charges
}

// choose chooses the slot to do now, see pick. It fails with errNothingLeft, and where a
// person has to look. Nil: a run is recording that somebody else started.
func (d *HandsOffDay) choose(t *turn) (*chosen, error) {
	status, err := d.o.Agent.Status(t.waits)
	if err != nil {
		return nil, err
	}
	if r := status.Recording; r != nil {
		return nil, d.waitForOther(t, *r)
	}
	d.noteDevice(status.Device)
	plan, err := d.readPlan(t.waits, status.Device)
	if err != nil {
		return nil, err
	}
	g := plan.Progress(status.Device, time.Now())
	d.giveUpWhatCannot(&g)
	best := d.pick(&g, plan.Estimates, status, d.settable())
	d.noteProgress(&plan, &g)
	if best == nil {
		return nil, errNothingLeft
	}
	best.runs = plan.Runs
	slot := best.SlotProgress
	d.mu.Lock()
	d.shown.slot, d.shown.try = &slot, d.kept.failures(cellKey(slot.Cell))+1
	d.mu.Unlock()
	return best, nil
}

// readPlan reads the plan that the day does. Another plan in its place is not done without
// a word.
func (d *HandsOffDay) readPlan(ctx context.Context, device string) (Plan, error) {
	plan, err := d.o.Plan(ctx, device)
	switch {
	case ctx.Err() != nil:
		return plan, context.Cause(ctx)
	case errors.Is(err, store.ErrNoPlan):
		return plan, pauses("%v", err)
	case err != nil:
		return plan, pauses("the plan cannot be read: %v", err)
	case !plan.has(device):
		return plan, pauses("the plan has no device %q (any more)", device)
	}
	d.mu.Lock()
	former := d.kept.Plan
	d.mu.Unlock()
	if plan.ID != former {
		d.keep(func(k *handsOffKept) {
			k.Plan, k.Skipped, k.Cannot, k.Failed = plan.ID, nil, nil, nil
		})
		return plan, pauses("plan %d is in force by now, the day began with plan %d: resume goes on with it", plan.ID, former)
	}
	return plan, nil
}

// noteDevice follows a device that is given another name.
func (d *HandsOffDay) noteDevice(name string) {
	d.mu.Lock()
	former := d.kept.Device
	d.mu.Unlock()
	if former == name {
		return
	}
	d.keep(func(k *handsOffKept) {
		k.Device = name
		k.Consents, k.Skipped = slices.Clone(k.Consents), slices.Clone(k.Skipped)
		for i := range k.Consents {
			if k.Consents[i].Device == former {
				k.Consents[i].Device = name
			}
		}
		for i := range k.Skipped {
			k.Skipped[i].Cell.Device = name
		}
	})
}

// waitForOther waits a while for a run to end that the day did not start. Its own, whose
// end the agent could not be told, it ends first.
func (d *HandsOffDay) waitForOther(t *turn, r run.Run) error {
	d.mu.Lock()
	ours := d.ours == r.ID
	d.mu.Unlock()
	if ours {
		const why = "its end could not be told to the agent in time"
		record, err := d.stop(run.Stop{Run: r.ID, Failure: why, By: ByPlan})
		if err != nil {
			return pauses("%v", err)
		}
		return cmp.Or(d.reject(record, why), errAgain)
	}
	d.show(Waiting, fmt.Sprintf("waiting for run %s of %s to end, which somebody else started", run.ShortID(r.ID), r.Workload))
	return cmp.Or(t.wait(t.waits, readyPause), errAgain)
}

// errAgain ends a turn for the next one to look again.
var errAgain = errors.New("it is looked again")

// cellKey and valueKey name what failures are counted of.
func cellKey(c run.Cell) string         { return "cell " + c.String() }
func valueKey(key, value string) string { return "value " + key + "=" + value }
func powerKey(c run.Cell) string        { return "power " + c.Setting.String() + " on " + string(c.Supply) }
func (c cannotSet) fits(x run.Cell) bool {
	return (c.Supply == "" || c.Supply == x.Supply) && valueOf(x, c.Key) == c.Value
}

// giveUpWhatCannot skips the slots that need a value which the device does not take, or a
// workload without a command.
func (d *HandsOffDay) giveUpWhatCannot(g *schedule.Progress) {
	d.mu.Lock()
	cannot := d.kept.Cannot
	d.mu.Unlock()
	open := d.candidates(g)
	n, last := 0, ""
	for _, s := range open {
		why := ""
		if w, ok := d.o.Workloads[s.Workload]; !ok || len(w.Command) == 0 {
			why = "the configuration has no command for " + s.Workload
		}
		for _, c := range cannot {
			if c.fits(s.Cell) {
				why = c.Why
			}
		}
		if why != "" {
			d.mu.Lock()
			d.kept.Skipped = append(d.kept.Skipped, skippedSlot{s.Position, s.Cell, oneLine(why)})
			d.mu.Unlock()
			n, last = n+1, why
		}
	}
	if n > 0 {
		d.tell("%s skipped: %s", sentence.Counted(n, "run"), last)
		d.keep(func(*handsOffKept) {})
	}
}

// candidates are the slots that are left and not given up. Of a cell as many of the first
// are left out as were given up of it: runs fill the slots of their cell in order.
func (d *HandsOffDay) candidates(g *schedule.Progress) (list []schedule.SlotProgress) {
	out := map[run.Cell]int{}
	d.mu.Lock()
	for _, s := range d.kept.Skipped {
		out[s.Cell]++
	}
	d.mu.Unlock()
	for _, s := range g.Slots {
		switch {
		case s.State != schedule.Open && s.State != schedule.Repeat:
		case out[s.Cell] > 0:
			out[s.Cell]--
		default:
			list = append(list, s)
		}
	}
	return list
}

// pick is the slot to do next: one of the first pass that has some left, so that passes
// stay apart; among these one that needs no hand, or the fewest; among these one of the
// stretch that the plan goes on with; among these one not tried yet; among these the first.
func (d *HandsOffDay) pick(g *schedule.Progress, e schedule.Estimates, status Status, can *settable) *chosen {
	var best *chosen
	var bestRank [5]int
	next := 0
	for _, s := range g.Slots {
		if s.Position == g.Next {
			next = s.Stretch
		}
	}
	left := d.candidates(g)
	ahead := chargesOf(left, e, d.o.Reserve)
	for _, s := range left {
		if best != nil && s.Pass > bestRank[0] {
			continue
		}
		c := d.consider(s, status, can, ahead)
		rank := [5]int{s.Pass, c.toil(), 0, 0, s.Position}
		if s.Stretch != next {
			rank[2] = 1
		}
		if s.State == schedule.Repeat {
			rank[3] = 1
		}
		if best == nil || lessRank(rank, bestRank) {
			best, bestRank = c, rank
		}
	}
	return best
}

func lessRank(a, b [5]int) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// noteProgress notes how far the plan is. What is skipped takes no time, and stands in the
// slots that are open.
func (d *HandsOffDay) noteProgress(plan *Plan, g *schedule.Progress) {
	d.mu.Lock()
	defer d.mu.Unlock()
	left := map[run.Cell][]int{} // positions
	for _, s := range g.Slots {
		if s.State == schedule.Open || s.State == schedule.Repeat {
			left[s.Cell] = append(left[s.Cell], s.Position)
		}
	}
	skipped := d.kept.Skipped[:0:0]
	var without []int
	for _, s := range d.kept.Skipped {
		if list := left[s.Cell]; len(list) > 0 {
			s.Position, left[s.Cell] = list[0], list[1:]
			without = append(without, s.Position)
			skipped = append(skipped, s)
		}
	}
	d.kept.Skipped = skipped
	g.LeaveOut(without, plan.Estimates, time.Now())
	d.shown.progress, d.shown.slots = g.Counts, len(plan.Slots)
	d.kept.Progress, d.kept.Slots, d.kept.Tried = g.Counts, len(plan.Slots), triedIn(g)
}

// triedIn counts the runs that do not count for their slots.
func triedIn(g *schedule.Progress) (n int) {
	for _, s := range g.Slots {
		n += len(s.Attempts)
	}
	return n
}

// readProgress reads how far the plan is; where it cannot be read, that stays as it was. It
// says why a run that should count has no slot: such runs would be repeated for ever. "" for
// a run that has one, is not stored yet, or for none.
func (d *HandsOffDay) readProgress(ctx context.Context, counted string) (why string) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), readTimeout)
	defer cancel()
	status, err := d.o.Agent.Status(ctx)
	if err != nil {
		return ""
	}
	plan, err := d.o.Plan(ctx, status.Device)
	if err != nil || !plan.has(status.Device) {
		return ""
	}
	d.mu.Lock()
	other := d.kept.Plan != plan.ID // which readPlan says
	d.mu.Unlock()
	if other {
		return ""
	}
	g := plan.Progress(status.Device, time.Now())
	d.noteProgress(&plan, &g)
	at := slices.IndexFunc(plan.Runs, func(r run.Run) bool { return r.ID == counted })
	if counted == "" || at >= 0 && plan.Runs[at].State == run.Recording { // its end is not stored yet
		return ""
	}
	if at < 0 || plan.Runs[at].StartedAt.Before(plan.CreatedAt.Time) {
		return "it began before the plan was made, by the clock, which was set back: set the clock right, or make the plan anew"
	}
	if slices.Contains(g.Outside, counted) {
		return "the plan has no slot for " + plan.Runs[at].Cell().String()
	}
	return ""
}
