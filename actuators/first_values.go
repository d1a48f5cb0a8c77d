package actuators

import (
	"context"
	"errors"
	"fmt"
	"slices"
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

	// act is held by whoever puts back, and while a write begins; turn, taken after it where
	// both are, by whoever changes the file. So a slow disk delays no restore.
	act, turn chan struct{}

	mu       sync.Mutex // guards the rest, never held while anything is waited for
	lock     *machineLock
	over     func(well bool) // of Watch; nil: nobody watches
	places   []*place        // in the order in which they were first written to
	restores int             // how often Restore was called
	damaged  int
	closed   bool
}

// place is one that differs, or may differ, from its first value.
type place struct {
	w Write // Was is the first value, Text what was set last
	// earlier says that a process before this one set it; of another user than this one
	// where by is not "".
	earlier bool
	by      string
	going   *call // of the machine, that nobody saw the end of yet; guarded by act
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

// ErrNoAnswer is that a place does not answer. What was asked of it may still be carried
// out at any time: its first value is not forgotten before it has come back, whatever it
// reads until then.
var ErrNoAnswer = errors.New("it does not answer")

// wait returns what came of the call, or that it still goes on after so long.
func (c *call) wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-c.done:
		return c.err
	case <-t.C:
		return ErrNoAnswer
	case <-ctx.Done():
		return errors.Join(ErrNoAnswer, ctx.Err())
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
	// Watch is called before anything is set after a time in which nothing was: somebody
	// begins to watch this process, to put back for it where it dies. What it returns is
	// called when nothing is set any more (well), or when this process ends and leaves
	// something set. It may be nil.
	Watch func() (over func(well bool))
	// Step is called after each step that lasts, with its name; for tests, which end the
	// process there. It may be nil.
	Step func(name string)
}

// restoreBound is the longest that a restore takes, and that a write is waited for; a
// command has 5 s unless its configuration says otherwise. Common practice, no source.
const restoreBound = 10 * time.Second

// OpenFirstValues reads the first values that an earlier process left in a data folder.
// It makes nothing, and takes no lock. Beside an error, because the file cannot be read or
// must not be believed, nothing is set or put back until it can.
func OpenFirstValues(dir string, o FirstValuesOptions) (*FirstValues, error) {
	f := &FirstValues{o: o, act: make(chan struct{}, 1), turn: make(chan struct{}, 1)}
	f.file = firstValuesFile{dir: dir, step: f.step}
	places, err := f.file.read()
	f.file.close()
	f.places, f.damaged = places, f.file.damaged
	return f, err
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

// ErrNotKept is that a first value could not be put on the disk, or must not be since
// another process sets this machine: nothing was written to its place.
var ErrNotKept = errors.New("nothing is set, since its first value cannot be kept")

// Keep has the first values of the places of writes on the disk when it returns; a place
// that has one keeps it. Where it fails, with ErrNotKept, nothing must be written.
func (f *FirstValues) Keep(ctx context.Context, writes ...Write) error {
	if err := enter(ctx, f.turn); err != nil {
		return err
	}
	defer f.leave()
	if err := f.keepInTurn(writes); err != nil {
		return fmt.Errorf("%w: %w", ErrNotKept, err)
	}
	return nil
}

// Set keeps the first value of a write's place and writes. It does not read back. A write
// that does not return goes on by itself when ctx ends, or after 10 s; Restore waits for
// it before it puts that place back, and holds up no other place for it. A Restore that
// comes before the write begins prevents it.
func (f *FirstValues) Set(ctx context.Context, m Machine, w Write) error {
	f.mu.Lock()
	restores := f.restores
	f.mu.Unlock()
	if err := f.Keep(ctx, w); err != nil {
		return err
	}
	c, err := f.beginWrite(ctx, m, w, restores)
	if err != nil {
		return err
	}
	return c.wait(ctx, restoreBound)
}

func (f *FirstValues) beginWrite(ctx context.Context, m Machine, w Write, restores int) (*call, error) {
	if err := enter(ctx, f.act); err != nil {
		return nil, err
	}
	defer func() { <-f.act }()
	p := f.find(w)
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case p == nil || f.restores != restores || f.closed:
		return nil, errRestored
	case p.going != nil && !p.going.over():
		return nil, fmt.Errorf("%s: what was asked of it before goes on: %w", w.Place(), ErrNoAnswer)
	}
	p.w.Text, p.w.Command = w.Text, w.Command
	p.going = begin(false, func() error { return m.Write(ctx, w) })
	return p.going, nil
}

func enter(ctx context.Context, held chan struct{}) error {
	if err := ctx.Err(); err != nil {
		return err // select would take either
	}
	select {
	case held <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// leave gives the turn back, and the lock of the machine where nothing is set.
func (f *FirstValues) leave() {
	if len(f.Pending()) == 0 {
		f.unlock()
		f.unwatch(true)
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
	if err := f.leftEarlier(); err != nil {
		return err
	}
	f.watched()
	fresh, known, err := f.firsts(writes)
	if err != nil || len(fresh)+len(known) == 0 {
		return err
	}
	if err := f.file.add(append(known, fresh...)); err != nil {
		return fmt.Errorf("first values %s: %w", f.Path(), err)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range f.places {
		for _, k := range known {
			if key(p.w) == key(k.w) {
				p.w.Text, p.w.Leeway = k.w.Text, k.w.Leeway
			}
		}
	}
	f.places = append(f.places, fresh...)
	return nil
}

// firsts are the places of writes that are new, and those that were kept along with others
// and are to be written to themselves now: these are put back whatever they read.
func (f *FirstValues) firsts(writes []Write) (fresh, known []*place, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, w := range writes {
		if w.Path == "" && len(w.Back) == 0 {
			return nil, nil, fmt.Errorf("nothing says how to put %s back", w.Place())
		}
		same := func(p *place) bool { return key(p.w) == key(w) }
		i := slices.IndexFunc(f.places, same)
		switch {
		case i < 0 && !slices.ContainsFunc(fresh, same):
			fresh = append(fresh, &place{w: w})
		case i >= 0 && f.places[i].w.Along && f.places[i].w.Text == f.places[i].w.Was && !w.Along:
			k := f.places[i].w
			k.Text, k.Leeway = w.Text, w.Leeway
			known = append(known, &place{w: k})
		}
	}
	return fresh, known, nil
}

// Earlier tells whether anything is left that an earlier process set: nothing else is set
// until it is put back, or given up.
func (f *FirstValues) Earlier() bool { return f.leftEarlier() != nil }

// watched has somebody watch this process, for whoever has the turn.
func (f *FirstValues) watched() {
	f.mu.Lock()
	has := f.over != nil
	f.mu.Unlock()
	if has || f.o.Watch == nil {
		return
	}
	over := f.o.Watch()
	f.mu.Lock()
	f.over = over
	f.mu.Unlock()
}

// leftEarlier is what nobody could put back since an earlier process set it: nothing else
// is set on top of that.
func (f *FirstValues) leftEarlier() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range f.places {
		if p.earlier {
			return fmt.Errorf("%s still has what an earlier sweepd set, and not its first value %q: `sweepd actuators restore` puts it back, or says why it cannot",
				run.Visible(p.w.Place()), run.Visible(p.w.Was))
		}
	}
	return nil
}

// locked takes the lock of the machine where it is not held, and then what the file says,
// for whoever has the turn.
func (f *FirstValues) locked() error {
	f.mu.Lock()
	held, closed := f.lock != nil, f.closed
	f.mu.Unlock()
	switch {
	case closed:
		return errors.New("first values: closed")
	case held:
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
	f.mu.Lock()
	defer f.mu.Unlock()
	f.lock = lock
	for i, p := range places { // of what it had before, the file does not know the latest
		for _, old := range f.places {
			if key(old.w) == key(p.w) {
				places[i] = old
			}
		}
	}
	f.places, f.damaged = places, f.file.damaged
	return nil
}

// unlock lets others set this machine, for whoever has the turn.
func (f *FirstValues) unlock() {
	f.mu.Lock()
	lock := f.lock
	f.lock = nil
	f.mu.Unlock()
	if lock != nil {
		f.file.close()
		_ = lock.release() // which the end of the process does in any case
	}
}

// unwatch lets go of who watches this process, for whoever has the turn.
func (f *FirstValues) unwatch(well bool) {
	f.mu.Lock()
	over := f.over
	f.over = nil
	f.mu.Unlock()
	if over != nil {
		over(well)
	}
}

// Close gives the lock back. What is pending stays in the file; who watches this process, if
// anybody does, puts it back.
func (f *FirstValues) Close() error {
	f.turn <- struct{}{}
	defer func() { <-f.turn }()
	f.mu.Lock()
	f.closed = true
	well := len(f.places) == 0
	f.mu.Unlock()
	f.unlock()
	f.unwatch(well)
	return nil
}
