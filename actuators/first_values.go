package actuators

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"sweepd/run"
)

// FirstValues keeps what places had before sweepd wrote to them for the first time, in a
// file of the data folder, so that they are put back whatever becomes of the process. A
// first value is on the disk before its place is written to, is never replaced by a later
// reading, and is forgotten when the place reads back right.
//
// From the first value kept until they are restored it holds the lock of the machine: no
// other process sets anything meanwhile. Its methods may be called from any goroutine.
type FirstValues struct {
	o    FirstValuesOptions
	file firstValuesFile

	turn chan struct{} // held by whoever keeps or restores
	lock *machineLock  // held where places is what counts; guarded by turn

	mu      sync.Mutex // guards the rest, never held while anything is waited for
	places  []*place   // in the order in which they were first written to
	damaged int
	closed  bool
}

// place is one that differs, or may differ, from its first value.
type place struct {
	w     Write // Was is the first value, Text what was set last
	going *call // of the machine, that nobody saw the end of yet; guarded by turn
}

// call is one of the machine, on a goroutine that may outlast whoever waits for it.
type call struct {
	restores bool
	done     chan struct{}
	err      error // once done
}

func begin(restores bool, f func() error) *call {
	c := &call{restores: restores, done: make(chan struct{})}
	go func() {
		defer close(c.done)
		c.err = f()
	}()
	return c
}

var errNoAnswer = errors.New("it does not answer")

// wait returns what came of the call, or that it still goes on after so long.
func (c *call) wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-c.done:
		return c.err
	case <-t.C:
		return errNoAnswer
	case <-ctx.Done():
		return errors.Join(errNoAnswer, ctx.Err())
	}
}

func (c *call) over() bool {
	select {
	case <-c.done:
		return true
	default:
		return false
	}
}

// FirstValuesOptions are what FirstValues needs of its surroundings.
type FirstValuesOptions struct {
	// Root is the folder of what is set, HOST_SYS or /sys: its lock is the machine's, so
	// that a simulated one does not get into the way of the real one. On systems other
	// than Linux it is ignored.
	Root string
	// Step is called after each step that lasts, with its name; for tests, which end the
	// process there. It may be nil.
	Step func(name string)
}

// How long is waited. Common practice, no source.
const (
	// restoreBound is the longest that a restore takes, and that a write is waited for; a
	// command that puts back has 5 s unless its configuration says otherwise.
	restoreBound = 10 * time.Second
	// patience is how long a place that does not answer holds up the others.
	patience = 300 * time.Millisecond
	// lockPatience is how long a restore waits for a process that just died.
	lockPatience = 2 * time.Second
)

// pauses are between attempts at places that refuse to be put back.
var pauses = []time.Duration{20, 50, 100, 200, 500} // ms

// OpenFirstValues reads the first values that an earlier process left in a data folder.
// It makes nothing, and takes no lock.
func OpenFirstValues(dir string, o FirstValuesOptions) (*FirstValues, error) {
	f := &FirstValues{o: o, turn: make(chan struct{}, 1)}
	f.file = firstValuesFile{dir: dir, step: f.step}
	places, err := f.file.read()
	f.file.close()
	if err != nil {
		return nil, err
	}
	f.places, f.damaged = places, f.file.damaged
	return f, nil
}

func (f *FirstValues) step(name string) {
	if f.o.Step != nil {
		f.o.Step(name)
	}
}

// Path is the file's, whether there is one or not.
func (f *FirstValues) Path() string { return f.file.path() }

// Damaged is how many first values of the file cannot be read, so that nobody can put
// them back.
func (f *FirstValues) Damaged() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.damaged
}

// Pending are the places that differ, or may differ, from what they had first: Was is the
// first value, Text what was set last, as far as it is known. In the order of the first
// writes; never nil.
func (f *FirstValues) Pending() []Write {
	f.mu.Lock()
	defer f.mu.Unlock()
	list := make([]Write, 0, len(f.places))
	for _, p := range f.places {
		list = append(list, p.w)
	}
	return list
}

// Keep has the first values of the places of writes on the disk when it returns; a place
// that has one keeps it. Where it fails, nothing must be written. It fails with
// *SetElsewhereError while another process sets this machine.
func (f *FirstValues) Keep(ctx context.Context, writes ...Write) error {
	if err := f.enter(ctx); err != nil {
		return err
	}
	defer f.leave()
	return f.keepInTurn(writes)
}

// Set keeps the first value of a write's place and writes. It does not read back. A write
// that does not return goes on by itself when ctx ends; Restore waits for it before it
// puts that place back, and for no longer than it has to before it puts others back.
func (f *FirstValues) Set(ctx context.Context, m Machine, w Write) error {
	if err := f.enter(ctx); err != nil {
		return err
	}
	if err := f.keepInTurn([]Write{w}); err != nil {
		f.leave()
		return err
	}
	p := f.find(w)
	if p.going != nil && !p.going.over() {
		f.leave()
		return fmt.Errorf("set %s: what was asked of it before goes on: %w", w.Place(), errNoAnswer)
	}
	c := begin(false, func() error { return m.Write(ctx, w) })
	p.going = c
	f.leave()
	return c.wait(ctx, restoreBound)
}

func (f *FirstValues) enter(ctx context.Context) error {
	select {
	case f.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// leave gives the turn back, and the lock of the machine where nothing is set.
func (f *FirstValues) leave() {
	if len(f.Pending()) == 0 {
		f.unlock()
	}
	<-f.turn
}

func (f *FirstValues) find(w Write) *place {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range f.places {
		if key(p.w) == key(w) {
			return p
		}
	}
	return nil
}

// key is the same for all writes to a place, whatever their value.
func key(w Write) string {
	if w.Path != "" {
		return w.Path
	}
	return w.Actuator + "\x00" + w.Place()
}

// keepInTurn is Keep for whoever has the turn.
func (f *FirstValues) keepInTurn(writes []Write) error {
	if err := f.locked(); err != nil {
		return err
	}
	var fresh []*place
	for _, w := range writes {
		if w.Path == "" && len(w.Back) == 0 {
			return fmt.Errorf("nothing says how to put %s back: it is not written to", w.Place())
		}
		if p := f.find(w); p == nil && !slices.ContainsFunc(fresh, func(p *place) bool { return key(p.w) == key(w) }) {
			fresh = append(fresh, &place{w: w})
		}
	}
	if len(fresh) > 0 {
		if err := f.file.add(fresh); err != nil {
			return fmt.Errorf("first values %s: %w; nothing is written without them", f.Path(), err)
		}
	}
	f.mu.Lock()
	f.places = append(f.places, fresh...)
	f.mu.Unlock()
	for _, w := range writes {
		p := f.find(w)
		f.mu.Lock()
		p.w.Text, p.w.Command = w.Text, w.Command
		f.mu.Unlock()
	}
	return nil
}

// locked takes the lock of the machine where it is not held, and then what the file says.
func (f *FirstValues) locked() error {
	f.mu.Lock()
	closed := f.closed
	f.mu.Unlock()
	if closed {
		return errors.New("first values: closed")
	}
	if f.lock != nil {
		return nil
	}
	lock, err := lockMachine(f.o.Root)
	if err != nil {
		return err
	}
	f.step("machine locked")
	places, err := f.file.read()
	if err != nil {
		return errors.Join(err, lock.release())
	}
	f.lock = lock
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range places { // what the file does not know
		for _, old := range f.places {
			if key(old.w) == key(p.w) {
				p.w.Text, p.w.Command, p.going = old.w.Text, old.w.Command, old.going
			}
		}
	}
	f.places, f.damaged = places, f.file.damaged
	return nil
}

func (f *FirstValues) unlock() {
	if f.lock == nil {
		return
	}
	f.file.close()
	_ = f.lock.release() // which closing does in any case
	f.lock = nil
}

// Restore puts all first values back, those written to last first, each whatever becomes
// of the others, and forgets those that read back right. What is refused is tried again
// for a second, and as long as others are put back, since a limit may have to wait for
// another. The end of ctx does not end it; it takes at most 10 s. It returns what was put
// back, and *NotRestoredError for what was not: then call it again. Afterwards another
// process may put back the rest.
func (f *FirstValues) Restore(ctx context.Context, m Machine) (back []Write, err error) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), restoreBound)
	defer cancel()
	if err := f.enter(ctx); err != nil {
		return nil, fmt.Errorf("first values %s: another restore does not end: %w", f.Path(), err)
	}
	defer func() {
		f.unlock() // a person may put back what could not be, meanwhile
		<-f.turn
	}()
	if err := f.lockedForRestore(ctx); err != nil {
		return nil, err
	}
	f.mu.Lock()
	left := slices.Clone(f.places)
	f.mu.Unlock()
	slices.Reverse(left)
	var reasons map[*place]error
	tries := slices.Clone(pauses)
	for len(left) > 0 {
		n := len(left)
		reasons = map[*place]error{}
		left = slices.DeleteFunc(left, func(p *place) bool {
			err := f.putBack(ctx, m, p)
			if err == nil {
				back = append(back, p.w)
			}
			reasons[p] = err
			return err == nil
		})
		if len(left) < n {
			continue
		}
		if i := slices.IndexFunc(left, func(p *place) bool { return p.going != nil }); i >= 0 {
			if left[i].going.wait(ctx, restoreBound); ctx.Err() != nil {
				break
			}
			continue
		}
		if len(tries) == 0 || !wait(ctx, tries[0]*time.Millisecond) {
			break
		}
		tries = tries[1:]
	}
	return back, errors.Join(notRestored(left, reasons), f.forget(left))
}

// putBack puts one place back, or sees what came of that. It waits no longer than
// patience: others are put back meanwhile.
func (f *FirstValues) putBack(ctx context.Context, m Machine, p *place) error {
	if c := p.going; c != nil {
		err := c.wait(ctx, patience)
		if !c.over() {
			return err
		}
		if p.going = nil; c.restores {
			return err
		}
	}
	c := begin(true, func() error { return putBack(ctx, m, p.w) })
	p.going = c
	err := c.wait(ctx, patience)
	if c.over() {
		p.going, err = nil, c.err
	}
	return err
}

// putBack writes a first value and reads back. A place that refuses and has it all the
// same is back, such as one that was kept and never written to because of its rights.
func putBack(ctx context.Context, m Machine, w Write) error {
	err := m.PutBack(ctx, w)
	if w.Path == "" && w.Was == "" {
		return err // a command that nobody can ask
	}
	now, e := m.Read(ctx, w)
	switch {
	case e != nil:
		return errors.Join(err, e)
	case SameText(now, w.Was, 0), err == nil && SameText(now, w.Was, w.Leeway):
		return nil
	case err != nil:
		return err
	}
	return fmt.Errorf("it reads %q after %q was put back", now, w.Was)
}

// lockedForRestore waits a little for the lock: a process that was killed may still hold it.
func (f *FirstValues) lockedForRestore(ctx context.Context) error {
	if f.lock == nil && !f.file.exists() {
		return nil // nothing was ever set
	}
	for until := time.Now().Add(lockPatience); ; {
		err := f.locked()
		var elsewhere *SetElsewhereError
		if !errors.As(err, &elsewhere) || time.Now().After(until) || !wait(ctx, 50*time.Millisecond) {
			return err
		}
	}
}

func wait(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// forget takes out of the file what is back, and the file itself where nothing is left.
func (f *FirstValues) forget(left []*place) error {
	if f.lock == nil {
		return nil
	}
	f.mu.Lock()
	keep := slices.DeleteFunc(slices.Clone(f.places), func(p *place) bool { return !slices.Contains(left, p) })
	gone := slices.DeleteFunc(slices.Clone(f.places), func(p *place) bool { return slices.Contains(left, p) })
	f.places = keep
	f.mu.Unlock()
	var err error
	if len(keep) == 0 {
		err = f.file.remove()
	} else if len(gone) > 0 {
		err = f.file.drop(gone)
	}
	if err != nil {
		err = fmt.Errorf("first values %s: %w; they are put back once more when sweepd starts", f.Path(), err)
	}
	return err
}

// Close gives the lock back. What is pending stays in the file.
func (f *FirstValues) Close() error {
	f.turn <- struct{}{}
	defer func() { <-f.turn }()
	f.mu.Lock()
	f.closed = true
	f.mu.Unlock()
	f.unlock()
	return nil
}

// NotRestoredError is that places could not be put back: they still have what sweepd set,
// or may have.
type NotRestoredError struct{ Left []NotRestored }

// NotRestored is a place that could not be put back, and why.
type NotRestored struct {
	Write Write
	Err   error
}

func notRestored(left []*place, reasons map[*place]error) error {
	if len(left) == 0 {
		return nil
	}
	e := &NotRestoredError{}
	for _, p := range left {
		e.Left = append(e.Left, NotRestored{p.w, reasons[p]})
	}
	return e
}

func (e *NotRestoredError) Error() string {
	var list []string
	for _, x := range e.Left {
		list = append(list, x.String())
	}
	return strings.Join(list, "; ")
}

// String says what is not back, why, and how to put it back by hand.
func (x NotRestored) String() string {
	return fmt.Sprintf("%s may still have %q, its first value is %q: %v; by hand: %s",
		run.Visible(x.Write.Place()), run.Visible(x.Write.Text), run.Visible(x.Write.Was), x.Err, x.Write.ByHand())
}

// Unwrap are the reasons.
func (e *NotRestoredError) Unwrap() []error {
	var list []error
	for _, x := range e.Left {
		list = append(list, x.Err)
	}
	return list
}
