package actuators

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// How long is waited. Common practice, no source.
const (
	// patience is how long a file that does not answer holds up the others; a command holds
	// up nothing.
	patience = 200 * time.Millisecond
	// lockPatience is how long a restore waits for a process that just died.
	lockPatience = 2 * time.Second
)

// pauses are between attempts at places that refuse to be put back.
var pauses = []time.Duration{20 * time.Millisecond, 50 * time.Millisecond, 100 * time.Millisecond, 200 * time.Millisecond, 500 * time.Millisecond}

// Restore puts all first values back, those written to last first, each whatever becomes
// of the others, and forgets those that read back right. What is refused is tried again
// for a second, and as long as others are put back, since a limit may have to wait for
// another. The end of ctx does not end it; it takes at most 10 s. It returns what was put
// back, and *NotRestoredError for what was not: then call it again. Another process may
// put back the rest meanwhile.
func (f *FirstValues) Restore(ctx context.Context, m Machine) (back []Write, err error) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), restoreBound)
	defer cancel()
	f.mu.Lock()
	f.restores++
	f.mu.Unlock()
	if err := enter(ctx, f.act); err != nil {
		return nil, fmt.Errorf("first values %s: another restore does not end: %w", f.Path(), err)
	}
	defer func() { <-f.act }()
	if err := f.lockedForRestore(ctx); err != nil {
		return nil, err
	}
	f.mu.Lock()
	left := slices.Clone(f.places)
	f.mu.Unlock()
	slices.Reverse(left)
	var gone []*place
	reasons := map[*place]error{}
	tries, looks := pauses, 0
	for len(left) > 0 {
		n := len(left)
		left = slices.DeleteFunc(left, func(p *place) bool {
			err := p.putBack(ctx, m)
			if reasons[p] = err; err == nil {
				gone = append(gone, p)
			}
			return err == nil
		})
		switch {
		case len(left) == 0 && looks < moves:
			looks++
			left, gone = movedAgain(ctx, m, gone)
		case len(left) < n:
		default:
			if i := slices.IndexFunc(left, func(p *place) bool { return p.going != nil }); i >= 0 {
				_ = left[i].going.wait(ctx, restoreBound) // its error is seen in the next round
			} else if len(tries) == 0 || !wait(ctx, tries[0]) {
				return f.done(ctx, gone, left, reasons)
			} else {
				tries = tries[1:]
			}
		}
		if ctx.Err() != nil {
			break
		}
	}
	return f.done(ctx, gone, left, reasons)
}

// moves is how often a place is put back again that moved when another one was put back:
// firmware moves one limit along with another.
const moves = 3

// movedAgain tells which files that were put back read otherwise again.
func movedAgain(ctx context.Context, m Machine, gone []*place) (again, stay []*place) {
	for _, p := range gone {
		w, now := p.w, ""
		if w.Path == "" { // a command may take long, and nothing is known to move what it set
			stay = append(stay, p)
			continue
		}
		c := begin(true, func() (err error) {
			now, err = m.Read(ctx, w)
			return err
		})
		if c.wait(ctx, patience) == nil && !SameText(now, w.Was, w.Leeway) {
			again = append(again, p)
		} else {
			stay = append(stay, p)
		}
	}
	return again, stay
}

// done forgets what is back, and says what is not. What moves along with others is kept until
// all files are back, since the put back of one may move it again. While a write to a file
// hangs, none is forgotten: what comes through late may move any.
func (f *FirstValues) done(ctx context.Context, gone, left []*place, reasons map[*place]error) (back []Write, err error) {
	isFile := func(p *place) bool { return p.w.Path != "" }
	some := slices.ContainsFunc(left, isFile)
	hangs := slices.ContainsFunc(left, func(p *place) bool { return isFile(p) && errors.Is(reasons[p], ErrNoAnswer) })
	f.mu.Lock()
	gone = slices.DeleteFunc(gone, func(p *place) bool {
		back = append(back, p.w)
		kept := isFile(p) && (hangs || some && p.w.Along)
		if kept {
			p.w.Text = p.w.Was
		}
		return kept
	})
	f.mu.Unlock()
	holds := slices.ContainsFunc(left, func(p *place) bool { return errors.Is(reasons[p], ErrNoAnswer) })
	return back, errors.Join(notRestored(left, reasons), f.forget(ctx, gone, holds))
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

// lockedForRestore takes the lock of the machine, where it is not held and there is
// something to put back. A process that was killed may still hold it for a moment.
func (f *FirstValues) lockedForRestore(ctx context.Context) error {
	f.mu.Lock()
	held := f.lock != nil
	f.mu.Unlock()
	if held {
		return nil // whoever has the turn may wait for a slow disk
	}
	if err := enter(ctx, f.turn); err != nil {
		return fmt.Errorf("first values %s: the disk does not answer: %w", f.Path(), err)
	}
	defer func() { <-f.turn }()
	if !f.file.exists() { // nothing was ever set, or somebody else put it back
		f.mu.Lock()
		defer f.mu.Unlock()
		f.places = nil
		return nil
	}
	for until := time.Now().Add(lockPatience); ; {
		err := f.locked()
		var elsewhere *SetElsewhereError
		if !errors.As(err, &elsewhere) || time.Now().After(until) || !wait(ctx, 50*time.Millisecond) {
			return err
		}
	}
}

// putBack puts one place back, or sees what came of that. It waits no longer than
// patience: others are put back meanwhile.
func (p *place) putBack(ctx context.Context, m Machine) error {
	long := patience
	if p.w.Path == "" {
		if long = 0; p.by != "" { // the administrator is not to run what a user wrote down
			return fmt.Errorf("its command is run by its own user alone: sudo -u '%s' sweepd actuators restore", p.by)
		}
	}
	if c := p.going; c != nil {
		err := c.wait(ctx, long)
		if !c.over() {
			return err
		}
		if p.going = nil; c.restores {
			return c.err
		}
	}
	w := p.w
	c := begin(true, func() error { return putBack(ctx, m, w) })
	p.going = c
	err := c.wait(ctx, long)
	if c.over() {
		p.going, err = nil, c.err
	}
	return err
}

// putBack writes a first value and reads back. A place that refuses and has it all the
// same is back, such as one that was kept and never written to because of its rights; but
// not one of which a write still hangs, which may yet come through.
func putBack(ctx context.Context, m Machine, w Write) error {
	if w.Along && w.Text == w.Was { // nobody set it
		if now, err := m.Read(ctx, w); err == nil && SameText(now, w.Was, w.Leeway) {
			return nil
		}
	}
	err := m.PutBack(ctx, w)
	if errors.Is(err, ErrNoAnswer) {
		return err
	}
	now, e := m.Read(ctx, w)
	switch {
	case e != nil && err != nil && e.Error() != err.Error():
		return fmt.Errorf("%w; %w", err, e)
	case e != nil:
		return e
	case SameText(now, w.Was, 0), err == nil && SameText(now, w.Was, w.Leeway):
		return nil
	case err != nil:
		return err
	}
	return fmt.Errorf("it reads %q after %q was put back", run.Visible(now), run.Visible(w.Was))
}

// forget takes out of the file what is back, and the file itself where nothing is left. It
// lets others set this machine, also to put back what is left, unless a write of this
// process hangs, which could come through after theirs.
func (f *FirstValues) forget(ctx context.Context, gone []*place, hangs bool) error {
	if err := enter(ctx, f.turn); err != nil {
		return f.notForgotten(fmt.Errorf("the disk does not answer: %w", err))
	}
	defer f.leave()
	f.mu.Lock()
	held := f.lock != nil
	before := len(f.places)
	f.places = slices.DeleteFunc(f.places, func(p *place) bool { return slices.Contains(gone, p) })
	left := len(f.places)
	f.mu.Unlock()
	if !held {
		return nil
	}
	var err error
	if left == 0 {
		err = f.file.remove()
	} else if left < before {
		err = f.file.drop(gone)
	}
	if left > 0 && !hangs {
		f.unlock()
	}
	if err != nil {
		return f.notForgotten(err)
	}
	return nil
}

// GiveUp forgets the first values that are left: their places stay as they are. It returns
// what is forgotten.
func (f *FirstValues) GiveUp(ctx context.Context) ([]Write, error) {
	if err := enter(ctx, f.act); err != nil {
		return nil, err
	}
	defer func() { <-f.act }()
	if err := f.lockedForRestore(ctx); err != nil {
		return nil, err
	}
	list := f.Pending()
	f.mu.Lock()
	gone := slices.Clone(f.places)
	f.mu.Unlock()
	return list, f.forget(ctx, gone, false)
}

func (f *FirstValues) notForgotten(err error) error {
	return fmt.Errorf("first values %s: %w; they are put back once more when sweepd starts", f.Path(), err)
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

// Error names what helps first, then the first place, and how many more there are.
func (e *NotRestoredError) Error() string {
	x := e.Left[0]
	s := fmt.Sprintf("`sweepd actuators restore` tries again and says what to type by hand: %s is not back, its first value is %s: %v",
		run.Visible(x.Write.Place()), run.Visible(x.Write.Was), x.Err)
	switch n := len(e.Left) - 1; n {
	case 0:
		return s
	case 1:
		return s + "; another place is not back either"
	default:
		return s + fmt.Sprintf("; %d more places are not back either", n)
	}
}

// String says what is not back, why, and how to put it back by hand.
func (x NotRestored) String() string {
	what, set := "is not back", ""
	if x.Write.Text != x.Write.Was {
		set = ", it was set to " + run.Visible(x.Write.Text)
	} else if x.Write.Along {
		what = "was not set, and may have moved along with others"
	}
	return fmt.Sprintf("%s %s: its first value is %s%s: %v; by hand: %s", run.Visible(x.Write.Place()), what, run.Visible(x.Write.Was), set, x.Err, x.Write.ByHand())
}

// Unwrap are the reasons.
func (e *NotRestoredError) Unwrap() []error {
	var list []error
	for _, x := range e.Left {
		list = append(list, x.Err)
	}
	return list
}
