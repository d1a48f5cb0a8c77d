package collectors

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"sweepd/run"
)

// SetOptions are the options of NewSet. The zero value works.
type SetOptions struct {
	// OnError hears of every distinct failure of a probe once, however often
	// it repeats. It is called by several goroutines, while Sweep, ReadSlow,
	// Rescan or NewSet goes on, and must not call these. nil: nobody hears.
	OnError func(collector string, s run.Sensor, err error)
	// SlowRead is the read time above which a probe is read off the pacing
	// path. 0 means 5 ms.
	SlowRead time.Duration
	// Patience is how long a sweep lets a read be before it looks whether that got on;
	// one that has not is left behind at the second look. 0 means 20 ms. Give more where
	// no sensor can block, as on a simulated device: there only a busy machine is slow.
	Patience time.Duration
	// Elapsed is the monotonic clock that read times are measured with. nil
	// means the real one; under a simulated clock give that clock.
	Elapsed func() time.Duration
}

const (
	defaultSlowRead = 5 * time.Millisecond
	// slowInterval is the time between two reads of a probe that is only slow,
	// slowDuty the least ratio of that time to the read time.
	slowInterval = time.Second
	slowDuty     = 10
	// A value of the slow lane is missing once it is older than staleAfter and
	// than staleReads intervals of its probe.
	staleAfter = 10 * time.Second
	staleReads = 5
	// The same, and as in slowDuty, where Hasten is in force.
	hastyStaleAfter = 3 * time.Second
	hastyStaleReads = 2
	hastyDuty       = 2
	// hastyInterval is the least time between two reads that Hasten brings about. What
	// batteries say is kept by the kernel for a second, see batteryInterval.
	hastyInterval = 1020 * time.Millisecond
)

// Health tells how a collector fares.
type Health struct {
	Name string
	// Up is true while at least one probe of the collector is open and its
	// last read gave something.
	Up bool
	// Errors counts failed reads, scans and openings. A source that is
	// forbidden or not there counts as an Absence, not here.
	Errors uint64
}

// Set holds the probes of all collectors and reads them, in two lanes. Probes
// of the fast lane are read by Sweep. Probes that have a MinInterval, or are
// found to be slow or to change rarely, are in the slow lane: ReadSlow reads
// them, on another goroutine, and Sweep takes the values that were read last.
//
// One goroutine calls Sweep, one ReadSlow and Rescan (it may be the same); the
// other methods may be called by any at any time. None of them waits for a probe
// that blocks: it is left to itself, missing until its read comes back.
type Set struct {
	onError  func(collector string, s run.Sensor, err error)
	slowRead time.Duration
	patience time.Duration
	elapsed  func() time.Duration

	// sweeping is held while the fast lane is read, and to change it. It is
	// taken before mu where both are.
	sweeping sync.Mutex
	fast     []*entry
	reader   *reader // of the fast lane
	values   []float64
	leaving  []*entry
	timed    int // sweeps still to be timed probe by probe
	rare     rareSearch

	// slowLane is held by ReadSlow and Rescan.
	slowLane   sync.Mutex
	slowReader *reader
	opening    map[sensorKey]pending[openResult] // what was not opened in time
	leftOut    int                               // sensors that no descriptor is left for
	sources    []*source
	positions  map[sensorKey]int
	work       []*entry
	nextSlow   atomic.Int64
	hasty      atomic.Int64 // see Hasten, ns
	hastened   atomic.Bool  // what is in the slow lane is to be read at once

	// mu is never held while something is read, opened or closed.
	mu       sync.Mutex
	sensors  []run.Sensor // replaced, never changed in place, so that snapshots hold
	entryAt  []*entry     // the last entry at each position, open or not
	slow     []*entry
	absences []Absence
	swept    time.Duration // when Sweep was called last
	closed   bool
}

// source is a collector with its state.
type source struct {
	collector Collector
	errors    atomic.Uint64
	absences  []Absence           // of the last scan; guarded by slowLane
	scanning  pending[scanResult] // a scan that was not done in time; guarded by slowLane
	reported  reportedFailures    // of scanning and opening; guarded by slowLane
}

// NewSet scans the collectors and opens what they offer. That something cannot
// be opened is normal: Absences says what, and Rescan tries again. Probes
// without a MinInterval are read twice here to see whether they are slow.
func NewSet(opts SetOptions, cs ...Collector) *Set {
	s := &Set{
		onError:   opts.OnError,
		slowRead:  opts.SlowRead,
		patience:  opts.Patience,
		elapsed:   opts.Elapsed,
		positions: map[sensorKey]int{},
		opening:   map[sensorKey]pending[openResult]{},
	}
	if s.onError == nil {
		s.onError = func(string, run.Sensor, error) {}
	}
	if s.slowRead <= 0 {
		s.slowRead = defaultSlowRead
	}
	if s.patience <= 0 {
		s.patience = sweepPatience
	}
	if s.elapsed == nil {
		start := time.Now()
		s.elapsed = func() time.Duration { return time.Since(start) }
	}
	for _, c := range cs {
		s.sources = append(s.sources, &source{collector: c})
	}
	s.Rescan(0)
	return s
}

// Sensors are the sensors found so far. Their index is their position in a
// sweep and never changes: new ones are appended, those that vanish stay. The
// slice is a snapshot and must not be modified.
func (s *Set) Sensors() []run.Sensor {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.sensors
}

// Sweep reads the fast lane and takes the latest values of the slow one: one
// value for each sensor, NaN where it is missing. now is the monotonic time,
// which must not fall. The slice belongs to the Set and holds until the next
// Sweep; it grows after a Rescan that found more. Sweep does not allocate while
// nothing changes.
func (s *Set) Sweep(now time.Duration) []float64 {
	s.sweeping.Lock()
	defer s.sweeping.Unlock()
	s.takeSlowLane(now)
	start := s.elapsed()
	s.readFast(now)
	if s.elapsed()-start > s.slowRead {
		s.timed = slowHits
	}
	if len(s.leaving) == 0 {
		s.findRare(now)
	}
	if len(s.leaving) > 0 {
		s.leaveFastLane(now)
	}
	return s.values
}

// takeSlowLane starts a sweep: everything is missing but what the slow lane has.
func (s *Set) takeSlowLane(now time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(s.values) < len(s.sensors) {
		s.values = append(s.values, math.NaN())
	}
	setMissing(s.values)
	s.swept = now
	hasty := s.hasty.Load() > 0
	for _, e := range s.slow {
		oldest := max(staleAfter, staleReads*s.slowInterval(e))
		if hasty {
			oldest = max(hastyStaleAfter, hastyStaleReads*s.slowInterval(e))
		}
		if e.latestRead && now-e.latestAt <= oldest && !(hasty && e.away) {
			for j, v := range e.latest {
				s.values[e.at[j]] = v
			}
		}
	}
}

// Absences says what is missing and why, in the order of the collectors:
// sources that were not found, that could not be opened, and that are gone.
func (s *Set) Absences() []Absence {
	s.mu.Lock()
	defer s.mu.Unlock()
	list := append([]Absence(nil), s.absences...)
	listed := map[string]bool{}
	for _, a := range list {
		listed[a.Source] = true
	}
	for _, e := range s.entryAt {
		if source := e.sensors[0].Source; !e.open && !listed[source] {
			listed[source] = true
			list = append(list, Absence{Collector: e.source.collector.Name(), Source: e.sensors[0].Source, Why: e.gone})
		}
	}
	return list
}

// Health tells for each collector, in the order given to NewSet, how it fares.
func (s *Set) Health() []Health {
	s.mu.Lock()
	defer s.mu.Unlock()
	list := make([]Health, len(s.sources))
	for i, src := range s.sources {
		list[i] = Health{Name: src.collector.Name(), Errors: src.errors.Load()}
		for _, e := range s.entryAt {
			if e.source == src && e.open && !e.away && !e.failing.Load() {
				list[i].Up = true
				break
			}
		}
	}
	return list
}

// Timing tells for the sensor at position i how long a read of its probe took
// when last measured, and the shortest time between two changes of its value
// so far, which cannot be seen finer than the sweeps are. 0 is unknown, also
// where there is no sensor i.
func (s *Set) Timing(i int) (read, refresh time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if i < 0 || i >= len(s.entryAt) {
		return 0, 0
	}
	e := s.entryAt[i]
	for j, at := range e.at {
		if at == i {
			refresh = time.Duration(e.changes[j].shortest.Load())
		}
	}
	return time.Duration(e.readTime.Load()), refresh
}

// Lag tells how much older the value at position i is than the latest sweep: 0 where the
// sweep read it itself, and where there is no sensor i.
func (s *Set) Lag(i int) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if i < 0 || i >= len(s.entryAt) {
		return 0
	}
	if e := s.entryAt[i]; e.latestRead && slices.Contains(s.slow, e) {
		return max(0, s.swept-e.latestAt)
	}
	return 0
}

// Cause tells why the reading at position i is missing: the failure of its
// probe's last read, or why its source is gone. nil where the last read was
// well, even if the source had no value to give, and where there is no sensor i.
func (s *Set) Cause(i int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if i < 0 || i >= len(s.entryAt) {
		return nil
	}
	e := s.entryAt[i]
	if !e.open {
		return errors.New(e.gone)
	}
	if e.away {
		since := (s.elapsed() - e.awaySince).Round(time.Second)
		return &ReadError{Path: e.sensors[0].Source, Err: fmt.Errorf("a read that began %v ago has not come back", since)}
	}
	if f := e.failure.Load(); f != nil {
		return f.err
	}
	return nil
}

// Close closes all probes; after it every reading is missing. It does not wait
// for a probe that blocks, which is closed when its read comes back, nor for
// ReadSlow or Rescan, which then close what is in the slow lane. Calling it twice
// is harmless.
func (s *Set) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	s.sweeping.Lock()
	fast := s.fast
	s.fast = nil
	s.reader.end()
	s.reader = nil
	s.sweeping.Unlock()
	err := s.closeAll(fast, "closed")
	if s.slowLane.TryLock() {
		err = errors.Join(err, s.leaveSlowLane())
	}
	return err
}
