package collectors

import (
	"errors"
	"math"
	"time"
)

const (
	// slowHits timed reads in a row above SlowRead move a probe to the slow
	// lane: one may only have met a busy machine.
	slowHits = 2
	// quickHits reads in a row below half of it move a probe back.
	quickHits = 10
)

// readFast reads the fast lane, each probe measured while s.timed counts down.
// Those that are slow again and again, or gone, are to leave; one that blocks has
// left.
func (s *Set) readFast(now time.Duration) {
	timed := s.timed > 0
	if timed {
		s.timed--
	}
	patience, rest := s.patience, s.fast
	for {
		at := s.readBy(&s.reader, pass{rest, now, timed}, patience)
		if at < 0 {
			break
		}
		s.leaveAt(rest[at])
		// What shares a driver with it may well block, too.
		patience, rest = max(patience/2, s.slowRead/2), rest[at+1:]
	}
	for _, e := range s.fast {
		e.scatter(s.values)
		if timed {
			e.readTime.Store(int64(e.took))
			if e.took <= s.slowRead {
				e.hits = 0
			} else {
				e.hits++
			}
		}
		if e.vanished || e.hits >= slowHits {
			s.leaving = append(s.leaving, e)
		}
	}
}

// leaveAt takes an entry that was left behind out of the fast lane.
func (s *Set) leaveAt(e *entry) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fast = without(s.fast, []*entry{e})
}

// leaveFastLane takes what is to leave out of the fast lane: probes that failed as
// gone are closed, others move to the slow lane.
func (s *Set) leaveFastLane(now time.Duration) {
	var gone []*entry
	s.mu.Lock()
	s.fast = without(s.fast, s.leaving)
	for _, e := range s.leaving {
		if e.hits < slowHits && !e.rare {
			gone = append(gone, e)
			continue
		}
		e.hits, e.next = 0, 0
		copy(e.latest, e.buf)
		e.latestAt, e.latestRead = now, true
		s.slow = append(s.slow, e)
		s.nextSlow.Store(0)
	}
	s.mu.Unlock()
	s.leaving = s.leaving[:0]
	for _, e := range gone {
		s.closeEntry(e, e.failures.last.Error())
	}
}

// SlowDue tells whether ReadSlow has something to read. It is cheap and never
// waits.
func (s *Set) SlowDue(now time.Duration) bool { return int64(now) >= s.nextSlow.Load() }

// Hasten has the slow lane read its probes as often as every, where that is oftener than
// they are read else: once a second at most, and none for more than half the time. What
// does not come back, or is older than some seconds, is missing then. 0 ends it. It is for
// those who rely on what the lane says; any goroutine may call it.
func (s *Set) Hasten(every time.Duration) {
	if before := s.hasty.Swap(int64(every)); before == 0 && every > 0 {
		s.hastened.Store(true)
		s.nextSlow.Store(0)
	}
}

// ReadSlow reads the probes of the slow lane that are due. It waits a little for
// each that blocks, so it is called on a goroutine of its own; only under a
// simulated clock, where nothing blocks, inline. Call it once before the first
// Sweep: until then the readings of the lane are missing.
func (s *Set) ReadSlow(now time.Duration) {
	s.slowLane.Lock()
	defer s.leaveOrUnlock()
	s.mu.Lock()
	s.work = s.work[:0]
	for _, e := range s.slow {
		if !e.away {
			s.work = append(s.work, e)
		}
	}
	// A probe that joins from now on sets this to 0, which must outlive the
	// calculation at the end.
	s.nextSlow.Store(math.MaxInt64)
	s.mu.Unlock()
	if s.hastened.Swap(false) {
		for _, e := range s.work {
			e.next = 0
		}
	}
	work, begin := s.work, s.elapsed()
	for i, e := range work {
		at := now
		if waited := s.elapsed() - begin; waited > s.slowRead {
			at += waited // a probe before this one blocked
		}
		if slack := s.slowInterval(e) / 20; at+slack < e.next {
			continue
		}
		if s.readBy(&s.slowReader, pass{work[i : i+1], at, true}, lanePatience) < 0 {
			s.keepSlow(e, at)
		} else {
			s.work = nil // the reader that was left behind has it
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	next := s.nextSlow.Load()
	for _, e := range s.slow {
		if !e.away {
			next = min(next, int64(e.next-s.slowInterval(e)/20))
		}
	}
	s.nextSlow.Store(next)
}

// keepSlow publishes what a probe of the slow lane gave.
func (s *Set) keepSlow(e *entry, now time.Duration) {
	e.readTime.Store(int64(e.took))
	e.next = now + s.slowInterval(e)
	if e.vanished {
		s.mu.Lock()
		s.slow = without(s.slow, []*entry{e})
		s.mu.Unlock()
		_ = s.closeEntry(e, e.failures.last.Error())
		return
	}
	s.mu.Lock()
	copy(e.latest, e.buf)
	e.latestAt, e.latestRead = now, true
	s.mu.Unlock()
	if e.interval > 0 {
		return
	}
	if e.took > s.slowRead {
		e.rare = false
	}
	if e.took > s.slowRead/2 || e.rare && !e.changed {
		e.hits = 0
		return
	}
	if e.hits++; e.hits >= quickHits || e.rare && e.hits >= frequentReads {
		s.returnToFastLane(e)
	}
}

// returnToFastLane moves an entry back to the fast lane.
func (s *Set) returnToFastLane(e *entry) {
	s.sweeping.Lock()
	defer s.sweeping.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return
	}
	e.hits, e.rare, e.frequentAt = 0, false, e.changedAt
	s.slow = without(s.slow, []*entry{e})
	s.fast = append(s.fast, e)
}

// slowInterval is the time between two reads in the slow lane.
func (s *Set) slowInterval(e *entry) time.Duration {
	read := time.Duration(e.readTime.Load())
	interval := e.interval
	if interval == 0 {
		interval = max(slowInterval, slowDuty*read)
	}
	if every := time.Duration(s.hasty.Load()); every > 0 {
		interval = min(interval, max(every, hastyInterval, hastyDuty*read))
	}
	return interval
}

// leaveOrUnlock ends ReadSlow or Rescan, and closes the lane's probes where
// Close came in between and could not wait.
func (s *Set) leaveOrUnlock() {
	if s.isClosed() {
		_ = s.leaveSlowLane() // Close, which wanted the error, has returned
		return
	}
	s.slowLane.Unlock()
	// Close may have come after the look at closed and before the unlocking.
	if s.isClosed() && s.slowLane.TryLock() {
		_ = s.leaveSlowLane()
	}
}

func (s *Set) isClosed() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.closed
}

// leaveSlowLane closes the probes of the slow lane, and those that reached the
// fast one since, and unlocks it.
func (s *Set) leaveSlowLane() error {
	defer s.slowLane.Unlock()
	s.sweeping.Lock()
	s.mu.Lock()
	rest := append(s.fast, s.slow...)
	s.fast, s.slow = nil, nil
	s.mu.Unlock()
	s.reader.end()
	s.slowReader.end()
	s.reader, s.slowReader = nil, nil
	s.dropOpening()
	s.sweeping.Unlock()
	return s.closeAll(rest, "closed")
}

func (s *Set) closeAll(list []*entry, why string) error {
	var errs []error
	for _, e := range list {
		errs = append(errs, s.closeEntry(e, why))
	}
	return errors.Join(errs...)
}

// closeEntry closes an entry that is in no lane any more. The probe of one that is
// away is closed when it comes back.
func (s *Set) closeEntry(e *entry, why string) error {
	s.mu.Lock()
	e.open, e.gone, e.latestRead = false, why, false
	away := e.away
	s.mu.Unlock()
	if away {
		return nil
	}
	return e.close()
}

// without returns a new slice, for others may be reading the old one.
func without(list, remove []*entry) []*entry {
	rest := make([]*entry, 0, len(list))
next:
	for _, e := range list {
		for _, r := range remove {
			if e == r {
				continue next
			}
		}
		rest = append(rest, e)
	}
	return rest
}
