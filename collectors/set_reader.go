package collectors

import (
	"fmt"
	"sync/atomic"
	"time"

	"sweepd/internal/alarm"
)

// A read may block for as long as a driver likes. So nobody waits for one without
// end: a reader that does not get on is left behind with the probe that holds it,
// and another reads the rest. Reads that bypass Go's scheduler would save two
// wake-ups a sweep and a seventh of its CPU time (internal/cost, part loop), but one
// that blocks stops the whole process, however many processors it has, since the
// garbage collector waits for it.
const (
	// sweepPatience is how long a sweep lets a reader be before it looks at it
	// again. One that is found at the same probe twice in a row is left behind, so
	// that a process which was held up itself does not blame a probe.
	sweepPatience = 20 * time.Millisecond
	// lanePatience is the same in the slow lane.
	lanePatience = 125 * time.Millisecond
)

// reader reads probes one after the other, on a goroutine of its own.
type reader struct {
	begin chan pass     // closed to end it
	done  chan struct{} // of a pass
	at    atomic.Int64  // the entry being read; leftBehind once nobody waits any more
	alarm *alarm.Alarm  // for whoever waits; the reader does not use it
}

const leftBehind = -1

// pass is what a reader reads.
type pass struct {
	entries []*entry
	now     time.Duration
	timed   bool // measure each
}

// readBy has the entries read by the reader in place, which is made and replaced
// where necessary. It returns the index of the entry that the reader was left
// behind with, after which nothing was read; -1 where all were read. An entry that
// was left behind joins the slow lane when its read has come back.
func (s *Set) readBy(place **reader, p pass, patience time.Duration) int {
	if len(p.entries) == 0 {
		return -1
	}
	r := *place
	if r == nil {
		r = &reader{begin: make(chan pass), done: make(chan struct{}, 1), alarm: alarm.New()}
		*place = r
		go s.runReader(r)
	}
	r.at.Store(0)
	r.begin <- p
	seen := int64(leftBehind)
	for {
		r.alarm.Set(patience)
		select {
		case <-r.done:
			r.alarm.Off()
			return -1
		case <-r.alarm.Rang():
		}
		at := r.at.Load()
		if at == seen && int(at) < len(p.entries) && s.leaveBehind(r, p.entries[at], int(at), 2*patience) {
			r.alarm.Close()
			*place = nil
			return int(at)
		}
		seen = at
	}
}

func (s *Set) runReader(r *reader) {
	for p := range r.begin {
		start := s.elapsed()
		for i, e := range p.entries {
			e.vanished = s.read(e, p.now)
			if p.timed {
				end := s.elapsed()
				e.took, start = end-start, end
			}
			if !r.at.CompareAndSwap(int64(i), int64(i+1)) {
				s.comeBack(e, p.now)
				return
			}
		}
		r.done <- struct{}{}
	}
}

// leaveBehind leaves a reader alone with the entry that has held it for a time,
// unless it got on.
func (s *Set) leaveBehind(r *reader, e *entry, at int, held time.Duration) bool {
	s.mu.Lock()
	left := r.at.CompareAndSwap(int64(at), leftBehind)
	report := left && !e.hung
	if left {
		e.away, e.hung, e.awaySince = true, true, s.elapsed()-held
		s.slow = append(without(s.slow, []*entry{e}), e)
	}
	s.mu.Unlock()
	if left {
		e.source.errors.Add(1)
	}
	if report {
		s.onError(e.source.collector.Name(), e.sensors[0], &ReadError{Path: e.sensors[0].Source, Err: errHangs})
	}
	return left
}

// comeBack is called by a reader whose entry has been left behind, once it was
// read after all. now is the time at which that read began.
func (s *Set) comeBack(e *entry, now time.Duration) {
	s.mu.Lock()
	took := s.elapsed() - e.awaySince
	e.away, e.hits, e.rare = false, 0, false
	e.readTime.Store(int64(took))
	e.next = now + took + slowInterval
	open, vanished := e.open, e.vanished
	if open && vanished {
		s.slow = without(s.slow, []*entry{e})
	} else if open {
		copy(e.latest, e.buf)
		e.latestAt, e.latestRead = now, true
	}
	s.nextSlow.Store(0)
	s.mu.Unlock()
	switch {
	case !open: // closed meanwhile, but for its probe
		_ = e.close()
	case vanished:
		_ = s.closeEntry(e, e.failures.last.Error())
	}
}

// errHangs is what is reported of a source that keeps a reader waiting.
var errHangs = fmt.Errorf("it does not answer; the other sensors are read without it")

// end ends a reader that waits for a pass.
func (r *reader) end() {
	if r != nil {
		close(r.begin)
		r.alarm.Close()
	}
}

// pending is what may take longer than anybody wants to wait for it.
type pending[T any] chan T

// begin does f on a goroutine of its own.
func begin[T any](f func() T) pending[T] {
	p := make(pending[T], 1)
	go func() { p <- f() }()
	return p
}

// wait gives what came of it, once, or false where that takes longer than patience.
func (p pending[T]) wait(patience time.Duration) (v T, ok bool) {
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case v = <-p:
		return v, true
	case <-timer.C:
		return v, false
	}
}
