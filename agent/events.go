package agent

import (
	"slices"
	"sync"

	"sweepd/run"
)

// Events is the stream of what happens to runs and to the device, with any number
// of subscribers. Each has its own queue without bound, so that nobody waits for
// one that is slow and every one hears of everything in the same order. The zero
// value works; methods may be called from any goroutine.
type Events struct {
	inline bool // subscribers are called before publishing returns: stepped mode

	// telling is held from a change of a stored run until its event is queued: events
	// come in the order of what is stored, and the last tells what is.
	telling sync.Mutex

	mu   sync.Mutex // guards subs
	subs []*Subscription
}

// Subscribe has f called with every event from now on, one after the other. f may
// take its time, but may not publish, start or stop a run.
func (e *Events) Subscribe(f func(run.Event)) *Subscription {
	s := &Subscription{events: e, f: f}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.subs = append(e.subs, s)
	return s
}

// Publish has change store something about a run and tells the subscribers what it
// returns. Where it fails there is nothing to tell. Meanwhile no other event of a
// run is published.
func (e *Events) Publish(change func() (run.Event, error)) error {
	err := func() error {
		e.telling.Lock()
		defer e.telling.Unlock()
		event, err := change()
		if err == nil {
			e.queue(event)
		}
		return err
	}()
	e.deliverInline()
	return err
}

// tell tells of the device. It waits for nobody.
func (e *Events) tell(event run.Event) {
	e.queue(event)
	e.deliverInline()
}

func (e *Events) queue(event run.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, s := range e.subs {
		if s.add(event) && !e.inline {
			go s.Flush()
		}
	}
}

func (e *Events) deliverInline() {
	if !e.inline {
		return
	}
	e.mu.Lock()
	subs := slices.Clone(e.subs)
	e.mu.Unlock()
	for _, s := range subs {
		s.Flush()
	}
}

// Subscription is one subscriber's queue.
type Subscription struct {
	events *Events
	f      func(run.Event)

	handling sync.Mutex // one call of f at a time

	mu      sync.Mutex // guards waiting
	waiting []run.Event
}

// add reports whether nothing was waiting before.
func (s *Subscription) add(event run.Event) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.waiting = append(s.waiting, event)
	return len(s.waiting) == 1
}

// Flush returns once every event published so far was handled.
func (s *Subscription) Flush() {
	s.handling.Lock()
	defer s.handling.Unlock()
	for event, ok := s.next(); ok; event, ok = s.next() {
		s.f(event)
	}
}

func (s *Subscription) next() (event run.Event, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.waiting) == 0 {
		return event, false
	}
	event = s.waiting[0]
	s.waiting = slices.Delete(s.waiting, 0, 1)
	return event, true
}

// Close ends the subscription and waits for the call in progress. What was not
// handled is dropped.
func (s *Subscription) Close() {
	s.events.mu.Lock()
	s.events.subs = slices.DeleteFunc(s.events.subs, func(t *Subscription) bool { return t == s })
	s.events.mu.Unlock()
	s.mu.Lock()
	s.waiting = nil
	s.mu.Unlock()
	s.handling.Lock()
	defer s.handling.Unlock()
}
