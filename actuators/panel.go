package actuators

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Panel is all that can be set of this machine, with the user's limits, and what of it is
// set at present. Its methods may be called from any goroutine.
type Panel struct {
	options PanelOptions

	// look is held while actuators are asked, which may take as long as a command of the
	// user's may. Nothing that writes or puts back takes it.
	look sync.Mutex
	// turn is held by the Apply that is in progress.
	turn chan struct{}

	mu        sync.Mutex
	set       []Write            // the latest write of each place that was applied since its first value was put back
	applying  context.CancelFunc // of the Apply in progress; nil without one
	restores  int                // how often Restore was called
	restoring int                // how many calls of Restore are in progress
	restored  chan struct{}      // closed when the last of them has returned
}

// PanelOptions say what a panel is made of.
type PanelOptions struct {
	Actuators   []Actuator
	Machine     Machine
	FirstValues Keeper
	// Allowed are the user's limits by the name of the actuator. What is not there is never
	// written.
	Allowed map[string]Limits
}

// NewPanel makes a panel; nothing is written.
func NewPanel(o PanelOptions) *Panel {
	return &Panel{options: o, turn: make(chan struct{}, 1)}
}

// Offers are all actuators with what they can set and what the user allows; nothing is
// written.
func (p *Panel) Offers() []Offer {
	p.look.Lock()
	defer p.look.Unlock()
	return Offers(p.options.Actuators, p.options.Allowed)
}

// Offers are all actuators with what they can set and what the user allows; nothing is
// written.
func Offers(list []Actuator, allowed map[string]Limits) []Offer {
	offers := make([]Offer, 0, len(list))
	for _, a := range list {
		o := a.Offer()
		if limits, ok := allowed[a.Name()]; ok {
			limits.Choices = append([]string{}, limits.Choices...)
			o.Allowed = &limits
		}
		o.Needs = needs(o)
		offers = append(offers, o)
	}
	return offers
}

// needs is what would have to be done so that it could be set.
func needs(o Offer) string {
	var list []string
	switch {
	case o.Missing == "" && o.Allowed == nil:
		list = append(list, "name it in the configuration, with limits of your own, such as "+example(o))
	case o.Missing != "" && o.Allowed != nil:
		list = append(list, "the configuration names it, and this machine does not have it: take it out of hands_off")
	}
	if o.Needs != "" {
		list = append(list, o.Needs)
	}
	return strings.Join(list, "; ")
}

// Sets tells whether something that the user allows sets the setting (SetsSetting) or a
// key of the variant, at present.
func (p *Panel) Sets(key string) bool {
	p.look.Lock()
	defer p.look.Unlock()
	for _, a := range p.allowed(key) {
		if o := a.Offer(); o.Missing == "" && o.Writable {
			return true
		}
	}
	return false
}

// allowed are the actuators that the user allows and that set a key.
func (p *Panel) allowed(key string) (list []Actuator) {
	for _, a := range p.options.Actuators {
		if _, ok := p.options.Allowed[a.Name()]; ok && a.Sets() == key {
			list = append(list, a)
		}
	}
	return list
}

// Steps are the writes, in order, that set a value: with every actuator that the user
// allows and that takes such a value, watts or a name. Where another one was used for the
// value before, its first values are put back first; the zero Value puts all of the key's
// first values back. None where the device has the value already. It fails where no
// actuator takes the value, and where one that should does not.
func (p *Panel) Steps(key string, v Value) ([]Write, error) {
	p.look.Lock()
	defer p.look.Unlock()
	list := p.allowed(key)
	if v == (Value{}) {
		return p.firstValues(list, true), nil
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("nothing that the configuration allows sets %s: name an actuator under hands_off, `sweepd actuators` lists them", named(key))
	}
	var takes, others []Actuator
	var offers []Offer
	for _, a := range list {
		if o := a.Offer(); v.kind() == o.kind() {
			takes, offers = append(takes, a), append(offers, o)
		} else {
			others = append(others, a)
		}
	}
	if len(takes) == 0 {
		return nil, fmt.Errorf("%s is %s, and the configuration allows nothing that takes one: `sweepd actuators` lists what does", v, v.kind())
	}
	writes := p.firstValues(others, false)
	for i, a := range takes {
		if why := offers[i].Missing; why != "" {
			return nil, fmt.Errorf("%s, which the configuration names, cannot be set: %s", a.Name(), why)
		}
		w, err := a.Writes(v, p.options.Allowed[a.Name()])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", a.Name(), err)
		}
		writes = append(writes, w...)
	}
	return writes, nil
}

// firstValues are the writes that put back the first values of these actuators' places, of
// those that changed along with others, too, if asked for.
func (p *Panel) firstValues(list []Actuator, along bool) (writes []Write) {
	kept := p.Changed()
	for _, a := range list {
		sources := a.Offer().Sources
		var own []Write
		for _, w := range kept {
			if w.Actuator == a.Name() {
				w.Text, w.Was, w.Up = w.Was, w.Text, 0 // the device had it: one step
				own = append(own, w)
			}
		}
		for _, w := range p.options.FirstValues.Pending() {
			if !along || w.Actuator != a.Name() || !w.Along || slices.ContainsFunc(own, w.samePlace) {
				continue
			}
			if now, err := p.options.Machine.Read(context.Background(), w); err == nil && !SameText(now, w.Was, w.Leeway) {
				w.Text, w.Was, w.Up = w.Was, now, 0
				own = append(own, w)
			}
		}
		slices.SortStableFunc(own, func(a, b Write) int { return slices.Index(sources, a.Place()) - slices.Index(sources, b.Place()) })
		writes = append(writes, lowerThenRaise(own)...)
	}
	return writes
}

// errRestored is that the first values were put back while a write was in progress.
var errRestored = errors.New("the first values were put back meanwhile")

// Apply does one write: the first value of its place is on the disk before. It tries again
// while the driver is busy, reads back, and returns a *NotObeyedError where the place does
// not have the text. A Restore that begins meanwhile ends it; its place has its first value
// then.
func (p *Panel) Apply(ctx context.Context, w Write) error {
	if _, ok := p.options.Allowed[w.Actuator]; !ok {
		return fmt.Errorf("%s is not set: the configuration does not allow %s", w.Place(), w.Actuator)
	}
	ctx, before, done, err := p.begin(ctx)
	if err != nil {
		return err
	}
	defer done()
	err = p.apply(ctx, w)
	p.mu.Lock()
	late := p.restores != before
	if !late && err == nil {
		p.movesLocked(w)
		p.noteLocked(w)
	}
	p.mu.Unlock()
	if !late {
		return err
	}
	// The write may have come after the first value was put back: all are put back again.
	back, cancel := context.WithTimeout(context.WithoutCancel(ctx), backTimeout)
	defer cancel()
	_, again := p.options.FirstValues.Restore(back, p.options.Machine)
	return errors.Join(fmt.Errorf("%s is not set to %q: %w", w.Place(), w.Text, errRestored), again)
}

// begin waits for its turn, and for restores that are in progress.
func (p *Panel) begin(ctx context.Context) (_ context.Context, restores int, done func(), err error) {
	select {
	case p.turn <- struct{}{}:
	case <-ctx.Done():
		return nil, 0, nil, ctx.Err()
	}
	for {
		p.mu.Lock()
		if p.restoring == 0 {
			break
		}
		over := p.restored
		p.mu.Unlock()
		select {
		case <-over:
		case <-ctx.Done():
			<-p.turn
			return nil, 0, nil, ctx.Err()
		}
	}
	defer p.mu.Unlock()
	ctx, p.applying = context.WithCancel(ctx)
	cancel := p.applying
	return ctx, p.restores, func() {
		p.mu.Lock()
		p.applying = nil
		p.mu.Unlock()
		cancel()
		<-p.turn
	}, nil
}

func (p *Panel) apply(ctx context.Context, w Write) error {
	m := p.options.Machine
	was, err := m.Read(ctx, w)
	if err != nil {
		return fmt.Errorf("%s is not set to %q, since what it has cannot be read: %w", w.Place(), w.Text, err)
	}
	if SameText(was, w.Text, w.Leeway) {
		return nil
	}
	if was == "" {
		return fmt.Errorf("%s is not set to %q, since it reads as nothing, and that could not be put back", w.Place(), w.Text)
	}
	if w.tooFar(was) {
		return fmt.Errorf("%s is not set to %q: it has %q by now, from where that is a larger step upward than step_up of the configuration allows", w.Place(), w.Text, was)
	}
	if err := p.confirm(w); err != nil {
		return fmt.Errorf("%s is not set to %q: %w", w.Place(), w.Text, err)
	}
	w.Was = was
	if err := p.keepAlong(ctx, w); err != nil {
		return fmt.Errorf("%s is not set to %q: %w", w.Place(), w.Text, err)
	}
	if err := retryBusy(ctx, func() error { return p.options.FirstValues.Set(ctx, m, w) }); err != nil {
		return fmt.Errorf("%s is not set to %q: %w", w.Place(), w.Text, err)
	}
	return obeyed(ctx, m, w)
}

// confirm tells why a machine does not take a write any more: between steps and write it
// may have come to state other limits. A first value is taken in any case.
func (p *Panel) confirm(w Write) error {
	for _, k := range p.options.FirstValues.Pending() {
		if k.samePlace(w) && SameText(w.Text, k.Was, 0) {
			return nil
		}
	}
	for _, a := range p.options.Actuators {
		if c, ok := a.(interface{ confirm(Write) error }); ok && a.Name() == w.Actuator {
			return c.confirm(w)
		}
	}
	return nil
}

// moved is an actuator whose places may change with what others set: all that limit power
// may be one to the firmware, a profile moves limits and limits a profile, and under some
// governors the energy preference is fixed.
type moved interface {
	Actuator
	places() []string
}

// movedBy are the keys whose places may change where one is set. A processor that comes
// back online has what the kernel gives it anew.
var movedBy = map[string][]string{
	SetsSetting:          {SetsSetting},
	SetsGovernor:         {SetsGovernor, SetsEnergyPreference},
	SetsEnergyPreference: {SetsEnergyPreference},
	SetsCores:            {SetsGovernor, SetsEnergyPreference},
}

// moves are the actuators that may change with a write, its own among them, in an order in
// which the last is put back first.
func (p *Panel) moves(w Write) (list []moved) {
	sets := ""
	for _, a := range p.options.Actuators {
		if a.Name() == w.Actuator {
			sets = a.Sets()
		}
	}
	for _, a := range p.options.Actuators {
		m, ok := a.(moved)
		if ok && slices.Contains(movedBy[sets], a.Sets()) {
			list = append(list, m)
		}
	}
	slices.Reverse(list)
	return list
}

// movesLocked forgets what was set of what may have changed along with a write: a profile
// with a limit, and the other way round. Of other limits it has to be told, see NotInForce.
func (p *Panel) movesLocked(w Write) {
	for _, a := range p.moves(w) {
		if a.Sets() == SetsSetting && (a.Name() == profileName) != (w.Actuator == profileName) {
			p.set = slices.DeleteFunc(p.set, func(s Write) bool { return s.Actuator == a.Name() })
		}
	}
}

// keepAlong keeps the first values of all that may change along with a write, before
// anything did: read later, they would be what a write made of them.
func (p *Panel) keepAlong(ctx context.Context, w Write) error {
	kept := p.options.FirstValues.Pending()
	var along []Write
	for _, a := range p.moves(w) {
		for _, path := range a.places() {
			k := Write{Actuator: a.Name(), Path: path, Along: true}
			if slices.ContainsFunc(kept, k.samePlace) {
				continue
			}
			now, err := p.options.Machine.Read(ctx, k)
			if errors.Is(err, syscall.EBUSY) || err == nil && now == "" {
				continue // of processors that are offline
			}
			if err != nil {
				return fmt.Errorf("%s may change with it, and what it has cannot be read: %w", path, err)
			}
			k.Text, k.Was = now, now
			along = append(along, k)
		}
	}
	if len(along) == 0 {
		return nil
	}
	return p.options.FirstValues.Keep(ctx, along...)
}

// NotInForce are the places that read otherwise than they were set, with what they read
// now in Was; "" where they cannot be read.
func (p *Panel) NotInForce(ctx context.Context) (list []Write) {
	p.mu.Lock()
	set := slices.Clone(p.set)
	p.mu.Unlock()
	for _, w := range set {
		now, err := p.options.Machine.Read(ctx, w)
		if err == nil && SameText(now, w.Text, w.Leeway) {
			continue
		}
		w.Was = now
		list = append(list, w)
	}
	return list
}

// Changed is what Restore would put back, in the order in which it was first set: Text is
// what is set, Was the first value.
func (p *Panel) Changed() (list []Write) {
	for _, w := range p.options.FirstValues.Pending() {
		if !SameText(w.Text, w.Was, w.Leeway) {
			list = append(list, w)
		}
	}
	return list
}

// turnTimeout is how long a Restore waits for a write that it has ended: what does not
// come back by then hangs in a driver, and puts its own place back when it does.
const turnTimeout = 200 * time.Millisecond

// backTimeout is how long a late write may take to put its place back.
const backTimeout = 10 * time.Second

// Restore puts all first values back, as Keeper says. An Apply in progress is ended first, one
// that comes meanwhile waits. Any number of callers may call it at once.
func (p *Panel) Restore(ctx context.Context) error {
	p.mu.Lock()
	p.restores++
	if p.restoring++; p.restoring == 1 {
		p.restored = make(chan struct{})
	}
	applying := p.applying
	if applying != nil {
		applying()
	}
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.restoring--; p.restoring == 0 {
			close(p.restored)
		}
	}()
	if applying != nil {
		late := time.NewTimer(turnTimeout)
		defer late.Stop()
		select {
		case p.turn <- struct{}{}:
			<-p.turn
		case <-late.C:
		}
	}
	_, err := p.options.FirstValues.Restore(ctx, p.options.Machine)
	left := p.options.FirstValues.Pending()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.set = slices.DeleteFunc(p.set, func(w Write) bool { return !slices.ContainsFunc(left, w.samePlace) })
	return err
}

// noteLocked remembers what a place is meant to have.
func (p *Panel) noteLocked(w Write) {
	if i := p.indexLocked(w); i >= 0 {
		p.set[i] = w
		return
	}
	p.set = append(p.set, w)
}

func (p *Panel) indexLocked(w Write) int {
	return slices.IndexFunc(p.set, func(s Write) bool { return s.samePlace(w) })
}
