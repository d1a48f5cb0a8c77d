package testday

import (
	"cmp"
	"context"
	"errors"

	"sync"
	"time"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/schedule"
)

// HandsOffOptions are what a day without hands is made of. All but Say and Changed are
// required, or have a default.
type HandsOffOptions struct {
	Agent Agent // in this process
	// Plan reads the plan in force for a device; store.ErrNoPlan where there is none.
	Plan func(ctx context.Context, device string) (Plan, error)
	// Reject sets a run aside that has ended, with a reason, see Decide.
	Reject func(ctx context.Context, id, why string) error

	Panel     Panel
	Guards    GuardWatch
	Jobs      JobLink
	Workloads map[string]WorkloadCommand

	// Settle is the least time between the last write of a setting and a run. Default 10 s.
	Settle time.Duration
	// Tries is how many runs of a slot may come to nothing before it is skipped. Default 3.
	Tries int
	// Reserve is the charge at which a guard ends what runs, 0 to 1.
	Reserve float64

	Dir string // of the data: its file hands_off.json is the day's

	// Say is told each sentence about the day, for the log.
	Say func(text string)
	// Changed is called, on any goroutine, whenever HandsOff answers otherwise than before.
	Changed func()
}

// What zero means for Settle and Tries of HandsOffOptions. Common practice, no source.
const (
	DefaultSettle = 10 * time.Second
	DefaultTries  = 3
)

// HandsOffDay does a plan by itself. One goroutine drives it (drive); what people ask for
// and what guards see reaches that as wishes, and as the end of the contexts of its turn.
// What people are answered never waits for what the day does.
//
// The first values go before everything else: they are put back before a day is said to be
// paused or over, by a guard before the run is ended, and by whatever goroutine of the day
// panics before the process dies of it.
type HandsOffDay struct {
	o HandsOffOptions

	// mu is held for moments: nothing is read, written or asked meanwhile.
	mu     sync.Mutex
	kept   handsOffKept // what the file has
	shown  shown
	wishes wishes
	turn   *turn // nil between turns
	hands  []handStep
	poked  chan struct{} // has room for one: something was wished
	since  time.Time     // of what kept.ElapsedS does not count yet; zero while nothing goes on
	armed  bool          // the guards are
	rests  time.Time     // until when nothing is done after a guard tripped
	enough float64       // the charge at which the battery was told to stop; 0 unknown
	ours   string        // the run that the day started last
	unkept bool          // the file could not be written, as was told
	ctx    context.Context
	end    context.CancelFunc
	driver chan struct{} // closed when the day's goroutine has ended; nil without one

	saving sync.Mutex // a file is written by one at a time
}

// shown is how the day stands, beside what is kept.
type shown struct {
	state    HandsOffState
	text     string
	since    time.Time
	slot     *schedule.SlotProgress
	slots    int
	try      int
	run      string
	progress schedule.Counts
}

// ErrGoesOn is returned for beginning a day where one goes on, or is paused.
var ErrGoesOn = errors.New("a day goes on already")

// ErrNoDay is returned for what needs a day that goes on.
var ErrNoDay = errors.New("no day without hands goes on: `sweepd plan run` begins one")

// NewHandsOffDay makes the day of a device; Start reads what is known of it.
func NewHandsOffDay(o HandsOffOptions) *HandsOffDay {
	if o.Settle <= 0 {
		o.Settle = DefaultSettle
	}
	if o.Tries <= 0 {
		o.Tries = DefaultTries
	}
	if o.Say == nil {
		o.Say = func(string) {}
	}
	if o.Changed == nil {
		o.Changed = func() {}
	}
	return &HandsOffDay{o: o, poked: make(chan struct{}, 1), shown: shown{state: Idle, since: time.Now()}}
}

// Start reads the file of the day and goes on with one that it says goes on. The first
// values have to be back by then. Until ctx ends, days may begin; an error says that the
// file is damaged: it is set aside, and no day goes on from it.
func (d *HandsOffDay) Start(ctx context.Context) error {
	kept, err := readHandsOff(d.o.Dir)
	d.mu.Lock()
	d.ctx, d.end = context.WithCancel(ctx)
	d.kept = kept
	d.mu.Unlock()
	if err != nil {
		d.tell("%v", err)
		d.mu.Lock()
		d.kept.Why = oneLine(err.Error())
		d.mu.Unlock()
		return err
	}
	switch kept.Going {
	case going:
		d.goOnAfterRestart()
	case paused:
		d.mu.Lock()
		d.wishes.pause = true
		d.shown.progress, d.shown.slots = kept.Progress, kept.Slots
		d.driveLocked()
		d.mu.Unlock()
	case over:
		d.mu.Lock()
		d.shown.progress, d.shown.slots = kept.Progress, kept.Slots
		d.mu.Unlock()
		d.show(Over, "the first values are back")
	}
	return nil
}

// Close puts the first values back and ends what goes on; the next Start goes on with it. It
// may be called more than once.
func (d *HandsOffDay) Close() {
	d.mu.Lock()
	end, driver := d.end, d.driver
	d.mu.Unlock()
	if end != nil {
		end() // nothing is set from here on
	}
	if driver != nil {
		_ = d.putBackOnce() // before the job is ended; the day does it again
		<-driver
	}
}

// HandsOff is how the day stands.
func (d *HandsOffDay) HandsOff(ctx context.Context) (HandsOff, error) {
	changed, runner := d.o.Panel.Changed(), d.o.Jobs.Runner()
	status, _ := d.o.Agent.Status(ctx) // of the device alone: it is known where a day is, too
	if changed == nil {
		changed = []actuators.Write{}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	k, s := &d.kept, &d.shown
	h := HandsOff{
		State: s.state, Text: s.text, Why: k.Why, Hand: []string{}, Since: run.Stamp(s.since),
		Plan: k.Plan, Device: k.Device, By: k.By, Slots: s.slots, Try: s.try, Run: s.run,
		Stopping: d.wishes.stop && s.state != Over, Pausing: d.wishes.pause && s.state != Paused,
		Progress: s.progress, Skipped: []Skipped{}, Hands: k.Hands, Runner: runner, Changed: changed,
		Told: append([]Told{}, k.Told...), Summary: append([]string{}, k.Summary...),
	}
	if k.Going == going && !d.wishes.pause {
		h.Why = ""
	}
	if !k.BegunAt.IsZero() {
		begun := k.BegunAt
		h.BegunAt = &begun
	}
	if s.slot != nil {
		slot := s.slot.Slot
		h.Slot, h.Position = &slot, s.slot.Position
	}
	if s.state == Hand {
		for _, x := range d.hands {
			h.Hand = append(h.Hand, x.text)
		}
	}
	for _, x := range k.Skipped {
		h.Skipped = append(h.Skipped, Skipped{x.Position, x.Cell.String(), x.Why})
	}
	h.Device = cmp.Or(h.Device, status.Device)
	if c := k.consent(h.Device); c != nil {
		agreed := *c
		h.Consent = &agreed
	}
	return h, nil
}

// RunnerBeat is the runner's, see HandsOffAgent.
func (d *HandsOffDay) RunnerBeat(ctx context.Context, b Beat) (Order, error) {
	return d.o.Jobs.Beat(ctx, b)
}

var _ HandsOffAgent = (*HandsOffDay)(nil)

// driveLocked starts the day's goroutine, once that of a day before has ended. d.mu is held.
func (d *HandsOffDay) driveLocked() {
	done, before, ctx := make(chan struct{}), d.driver, d.ctx
	d.driver = done
	go d.guarded(func() {
		defer close(done)
		if before != nil {
			<-before
		}
		d.drive(ctx)
	})
}

// panicRestore is how long the first values may take to go back while the process is about
// to die.
const panicRestore = 20 * time.Second

// guarded calls f, and puts the first values back before a panic of it goes on.
func (d *HandsOffDay) guarded(f func()) {
	calm := false
	defer func() {
		if calm {
			return
		}
		ctx, cancel := context.WithTimeout(context.Background(), panicRestore)
		defer cancel()
		_ = d.o.Panel.Restore(ctx) // the panic goes on
	}()
	f()
	calm = true
}

// show says what the day does now.
func (d *HandsOffDay) show(state HandsOffState, text string) {
	text = oneLine(text)
	d.mu.Lock()
	same := d.shown.state == state && d.shown.text == text
	if d.shown.state != state {
		d.shown.since = time.Now()
	}
	d.shown.state, d.shown.text = state, text
	d.mu.Unlock()
	if !same {
		d.o.Changed()
	}
}

// countElapsedLocked counts the time that went by while the day went on. d.mu is held.
func (d *HandsOffDay) countElapsedLocked() {
	if !d.since.IsZero() {
		now := time.Now()
		d.kept.ElapsedS += now.Sub(d.since).Seconds()
		d.since = now
	}
}
