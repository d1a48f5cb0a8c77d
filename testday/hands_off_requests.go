package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/schedule"
)

// wishes are what people and guards want of a day that goes on.
type wishes struct {
	pause, stop, now bool
	why              string   // of a pause or a stop, a sentence's part: "paused by …"
	trip             *Tripped // a guard's
	confirmed        bool     // a person did what Hand lists
}

// turn is one turn of the day, from the choice of a slot to the end of its run. Its
// contexts end early where somebody, or a guard, wants something else.
type turn struct {
	waits    context.Context // until a run begins
	runs     context.Context // while it is recorded
	endWaits context.CancelCauseFunc
	endRuns  context.CancelCauseFunc
}

// Why a turn ends early.
var (
	errWish    = errors.New("something else was asked for")
	errNow     = errors.New("it was stopped at once")
	errTripped = errors.New("a guard ended it")
)

// newTurn begins a turn; what is wished by then ends it at once.
func (d *HandsOffDay) newTurn(ctx context.Context) *turn {
	t := &turn{}
	t.runs, t.endRuns = context.WithCancelCause(ctx)
	t.waits, t.endWaits = context.WithCancelCause(t.runs)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.turn = t
	d.heedLocked()
	return t
}

// endTurn lets go of a turn.
func (d *HandsOffDay) endTurn(t *turn) {
	d.mu.Lock()
	d.turn = nil
	d.mu.Unlock()
	t.endWaits(context.Canceled)
	t.endRuns(context.Canceled)
}

// heedLocked has the turn end for what is wished, but for what a trip of a guard ends:
// that comes after its restore. d.mu is held.
func (d *HandsOffDay) heedLocked() {
	w := &d.wishes
	if t := d.turn; t != nil {
		switch {
		case w.trip != nil:
			t.endWaits(errTripped)
		case w.stop && w.now:
			t.endRuns(errNow)
		case w.stop || w.pause:
			t.endWaits(errWish)
		}
	}
	select {
	case d.poked <- struct{}{}:
	default:
	}
}

// wait waits; the error is why it has to end early.
func (t *turn) wait(ctx context.Context, for_ time.Duration) error {
	if for_ <= 0 {
		return nil
	}
	timer := time.NewTimer(for_)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// asked says who asked for something, and why: "by NAME: WHY".
func (q HandsOffRequest) asked() string {
	text := "by " + run.Shorten(cmp.Or(run.Visible(strings.TrimSpace(q.By)), ByAPI))
	if why := run.Visible(strings.TrimSpace(q.Why)); why != "" {
		text += ": " + why
	}
	return text
}

func (q HandsOffRequest) check() error {
	if q.By != "" {
		if err := run.CheckLabel("by", q.By); err != nil {
			return requestError(err)
		}
	}
	if q.Why != "" {
		return requestError(run.CheckLabel("reason", q.Why))
	}
	return nil
}

// BeginHandsOff begins a day, see HandsOffAgent.
func (d *HandsOffDay) BeginHandsOff(ctx context.Context, q BeginHandsOff) (HandsOff, error) {
	if q.By != "" {
		if err := run.CheckLabel("by", q.By); err != nil {
			return HandsOff{}, requestError(err)
		}
	}
	if err := d.mayBegin(); err != nil {
		return HandsOff{}, err
	}
	status, err := d.o.Agent.Status(ctx)
	if err != nil {
		return HandsOff{}, err
	}
	plan, err := d.o.Plan(ctx, status.Device)
	if err != nil {
		return HandsOff{}, fmt.Errorf("the day cannot begin: %w", err)
	}
	g := plan.Progress(status.Device, time.Now())
	if lacks := d.lacks(status, &plan, &g); len(lacks) > 0 {
		return HandsOff{}, fmt.Errorf("the day cannot begin: %s", strings.Join(lacks, "; "))
	}
	if err := d.agree(status.Device, q); err != nil {
		return HandsOff{}, err
	}

	d.mu.Lock()
	if err := d.mayBeginLocked(); err != nil { // another request was faster
		d.mu.Unlock()
		return HandsOff{}, err
	}
	before := d.kept
	k := handsOffKept{
		Consents: before.Consents, Going: going, Plan: plan.ID, Device: status.Device, BegunAt: run.Stamp(time.Now()), By: cmp.Or(q.By, ByAPI),
		HandSetting: status.Setting.Setting, Progress: g.Counts, Slots: len(plan.Slots),
	}
	if status.Declared != nil {
		k.Former = *status.Declared
	}
	if n := len(plan.Runs); n > 0 && plan.Runs[n-1].Device == status.Device {
		k.ByHand = plan.Runs[n-1].Variant
	}
	if before.Plan == plan.ID && before.Device == status.Device {
		if !q.Retry {
			k.Skipped, k.Cannot = before.Skipped, before.Cannot
		}
		k.ByHand = before.ByHand
	}
	k.TriedBefore = triedIn(&g)
	d.kept, d.wishes, d.hands = k, wishes{}, nil
	d.shown = shown{state: Waiting, text: "the day begins", since: time.Now(), slots: len(plan.Slots), progress: g.Counts}
	d.mu.Unlock()
	if err := d.save(); err != nil {
		d.mu.Lock()
		d.kept = before
		d.shown = shown{state: Idle, since: time.Now()}
		d.mu.Unlock()
		return HandsOff{}, fmt.Errorf("the day cannot begin, since it cannot be kept: %w", err)
	}
	d.tell("the day begins, asked for by %s: %s of plan %d left, %s", k.By, sentence.Counted(g.Left, "run"), plan.ID, sentence.About(g.LeftS))
	d.mu.Lock()
	d.driveLocked()
	d.mu.Unlock()
	return d.HandsOff(ctx)
}

// mayBegin tells why no day may begin now.
func (d *HandsOffDay) mayBegin() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.mayBeginLocked()
}

func (d *HandsOffDay) mayBeginLocked() error {
	switch {
	case d.ctx == nil || d.ctx.Err() != nil:
		return errors.New("the agent is about to end: start it again, then begin the day")
	case d.kept.Going == paused:
		return fmt.Errorf("%w, and is paused: `sweepd plan resume` goes on with it", ErrGoesOn)
	case d.kept.Going == going:
		return fmt.Errorf("%w, since %s: `sweepd plan stop` ends it", ErrGoesOn, d.kept.BegunAt.Short(time.Now(), time.Local))
	}
	return nil
}

// agree keeps the consent of a device.
func (d *HandsOffDay) agree(device string, q BeginHandsOff) error {
	d.mu.Lock()
	there := d.kept.consent(device) != nil
	if !there && q.Consent {
		d.kept.Consents = append(slices.Clone(d.kept.Consents), Consent{Device: device, At: run.Stamp(time.Now()), By: cmp.Or(q.By, ByAPI)})
	}
	d.mu.Unlock()
	switch {
	case there:
		return nil
	case !q.Consent:
		return &ConsentError{Device: device, Cautions: Cautions()}
	}
	if err := d.save(); err != nil {
		d.mu.Lock()
		d.kept.Consents = slices.DeleteFunc(slices.Clone(d.kept.Consents), func(c Consent) bool { return c.Device == device })
		d.mu.Unlock()
		return fmt.Errorf("the day cannot begin, since the consent cannot be kept: %w", err)
	}
	return nil
}

// PauseHandsOff pauses, see HandsOffAgent.
func (d *HandsOffDay) PauseHandsOff(ctx context.Context, q HandsOffRequest) (HandsOff, error) {
	return d.request(ctx, q, func() (string, error) {
		switch {
		case d.wishes.stop:
			return "", errors.New("the day is stopping: `sweepd plan resume` takes that back as long as its run goes on")
		case d.wishes.pause:
			return "", nil
		}
		d.wishes.pause, d.wishes.why = true, "paused "+q.asked()
		if d.shown.run != "" {
			return "the day pauses after this run, " + q.asked(), nil
		}
		return "the day pauses, " + q.asked(), nil
	})
}

// ResumeHandsOff goes on with a day that is paused, takes back a pause or a stop that waits
// for the run in progress, or says that what Hand lists is done.
func (d *HandsOffDay) ResumeHandsOff(ctx context.Context, q HandsOffRequest) (HandsOff, error) {
	return d.request(ctx, q, func() (string, error) {
		switch w := &d.wishes; {
		case w.stop && w.now:
			return "", errors.New("the day is being stopped at once: `sweepd plan run` begins again")
		case w.stop && d.shown.run == "":
			return "", errors.New("the day is ending: `sweepd plan run` begins again")
		case w.stop:
			w.stop, w.pause, w.why = false, false, ""
			return "the day goes on after this run after all, " + q.asked(), nil
		case w.trip != nil:
			return "", fmt.Errorf("a guard ends the run: %s; resume when the day is paused", w.trip.Text)
		case w.pause && d.shown.state != Paused && d.shown.run == "":
			return "", errors.New("the day is about to pause, and puts the first values back: resume when it is paused")
		case w.pause:
			w.pause, w.why = false, ""
			return "the day goes on, asked for " + q.asked(), nil
		case d.shown.state == Paused: // asked for twice
			return "", nil
		case d.shown.state == Hand:
			if lacks := observable(d.hands); len(lacks) == len(d.hands) {
				return "", fmt.Errorf("the day goes on by itself as soon as it sees that this is done: %s", strings.Join(lacks, "; "))
			}
			w.confirmed = true
			return "done by hand, as said " + q.asked(), nil
		}
		return "", fmt.Errorf("the day is not paused: it goes on (%s)", d.shown.state)
	})
}

// StopHandsOff ends the day, see HandsOffAgent.
func (d *HandsOffDay) StopHandsOff(ctx context.Context, q HandsOffRequest) (HandsOff, error) {
	return d.request(ctx, q, func() (string, error) {
		w := &d.wishes
		if w.stop && (w.now || !q.Now) {
			return "", nil
		}
		w.stop, w.now, w.why = true, q.Now, "stopped "+q.asked()
		switch {
		case d.shown.run == "":
			d.shown.text = oneLine("the day ends, " + w.why)
			return "the day ends, stopped " + q.asked(), nil
		case q.Now:
			w.why = "stopped at once " + q.asked()
			d.shown.text = oneLine("ending run " + run.ShortID(d.shown.run) + " and its workload, " + w.why)
			return "the day ends at once, and with it run " + run.ShortID(d.shown.run) + ", stopped " + q.asked(), nil
		}
		return "the day ends after this run, stopped " + q.asked(), nil
	})
}

// request has a wish entered under the lock, where a day goes on or is paused; what the
// wish returns is told.
func (d *HandsOffDay) request(ctx context.Context, q HandsOffRequest, wish func() (string, error)) (HandsOff, error) {
	if err := q.check(); err != nil {
		return HandsOff{}, err
	}
	d.mu.Lock()
	if d.kept.Going != going && d.kept.Going != paused || d.driver == nil {
		d.mu.Unlock()
		return HandsOff{}, ErrNoDay
	}
	text, err := wish()
	if err == nil {
		d.heedLocked()
	}
	d.mu.Unlock()
	if err != nil {
		return HandsOff{}, err
	}
	if text != "" {
		d.tell("%s", text)
	}
	d.awaitWish(ctx)
	return d.HandsOff(ctx)
}

// Whoever asks is answered with what came of it, where that takes no longer. Common practice,
// no source.
const (
	wishWait = time.Second
	wishPoll = 20 * time.Millisecond
)

// awaitWish waits a moment for a wish to be fulfilled that need not wait for a run.
func (d *HandsOffDay) awaitWish(ctx context.Context) {
	for end := time.Now().Add(wishWait); time.Now().Before(end); {
		d.mu.Lock()
		w, state := d.wishes, d.shown.state
		done := d.shown.run != "" || !w.stop && (w.pause == (state == Paused))
		d.mu.Unlock()
		if done || d.rest(ctx, wishPoll) != nil {
			return
		}
	}
}

// lacks are why a day could not begin, in sentences.
func (d *HandsOffDay) lacks(status Status, plan *Plan, g *schedule.Progress) []string {
	list := []string{}
	switch {
	case !plan.has(status.Device):
		return append(list, fmt.Sprintf("the plan has no device %q: it has %s", status.Device, strings.Join(plan.Devices(), ", ")))
	case g.Left == 0:
		return append(list, "the plan has nothing left: `sweepd plan extend` appends runs")
	}
	var without []string
	for _, s := range g.Slots {
		w, ok := d.o.Workloads[s.Workload]
		if s.State != schedule.Done && (!ok || len(w.Command) == 0) && !slices.Contains(without, s.Workload) {
			without = append(without, s.Workload)
		}
	}
	list = append(list, d.lacksRight(g)...)
	if len(without) > 0 {
		list = append(list, fmt.Sprintf("the configuration has no command for %s: name it under workloads", strings.Join(without, ", ")))
	}
	return list
}
