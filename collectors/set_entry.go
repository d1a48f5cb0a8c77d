package collectors

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"reflect"
	"sync/atomic"
	"syscall"
	"time"

	"sweepd/run"
)

// sensorKey is a sensor's identity.
type sensorKey struct{ id, instance string }

func keyOf(s run.Sensor) sensorKey { return sensorKey{s.ID, s.Instance} }

// entry is a probe in the Set. Fields without a remark belong to the goroutine
// in whose lane the entry is.
type entry struct {
	source     *source
	sensors    []run.Sensor
	at         []int         // positions in a sweep; fixed
	interval   time.Duration // between two reads in the slow lane; 0: not set by the offer
	probe      Probe
	buf        []float64
	bounds     []bound
	beyond     repeatedError
	failures   *reportedFailures
	reopened   bool          // opened again, nothing read since
	hits       int           // reads in a row that speak for the other lane
	everySweep bool          // wanted at every sweep, however rarely it changes
	rare       bool          // in the slow lane because it rarely changes
	changed    bool          // the last read found a new value
	vanished   bool          // the last read found that the source is gone
	took       time.Duration // the last read, where it was measured
	next       time.Duration // when it is due in the slow lane

	changedAt  time.Duration // when a new value was found last
	frequentAt time.Duration // when two new values came within rareChange; 0: not known yet

	readTime atomic.Int64
	failing  atomic.Bool
	failure  atomic.Pointer[failure] // of the last read
	changes  []changeHistory

	// Guarded by Set.mu.
	away       bool // its read was left behind: the entry is its reader's until it comes back
	awaySince  time.Duration
	hung       bool // that happened before, and was reported
	open       bool
	gone       string // why it is not open
	latest     []float64
	latestAt   time.Duration
	latestRead bool
}

// read reads a probe and keeps account of what came. It reports whether the
// source vanished: an error that says so, and nothing that could be read, for
// some drivers also say "no such device" for a single unknown value.
func (s *Set) read(e *entry, now time.Duration) (gone bool) {
	err := e.readProbe(now)
	given := 0
	e.changed = false
	for j, v := range e.buf {
		if b := &e.bounds[j]; v < b.low || v > b.high {
			if v = math.NaN(); err == nil {
				err = e.beyond.of(b.refuse(e.sensors[j], e.buf[j]))
			}
		}
		if v-v != 0 { // NaN or infinite
			e.buf[j] = math.NaN()
			continue
		}
		given++
		if c := &e.changes[j]; v != c.last {
			c.note(now, v)
			e.changed = true
		}
	}
	if e.changed {
		e.noteChange(now)
	}
	failing := err != nil && given == 0
	if failing != e.failing.Load() {
		e.failing.Store(failing)
	}
	if e.reopened && given > 0 {
		e.reopened = false
		e.failures.forget()
	}
	if err == nil {
		if e.failure.Load() != nil {
			e.failure.Store(nil)
		}
		return false
	}
	e.source.errors.Add(1)
	if f := e.failure.Load(); f == nil || !same(f.err, err) {
		e.failure.Store(&failure{err})
	}
	for _, cause := range e.failures.news(err) {
		s.onError(e.source.collector.Name(), e.sensorOf(cause), cause)
	}
	return failing && vanished(err)
}

// setMissing makes every reading missing.
func setMissing(readings []float64) {
	for i := range readings {
		readings[i] = math.NaN()
	}
}

func (e *entry) readProbe(now time.Duration) (err error) {
	setMissing(e.buf)
	defer recovered(&err)
	return e.probe.Read(now, e.buf)
}

func (e *entry) scatter(values []float64) {
	for j, at := range e.at {
		values[at] = e.buf[j]
	}
}

// sensorOf is the sensor that an error is about, the first where it does not
// say.
func (e *entry) sensorOf(err error) run.Sensor {
	if re, ok := errors.AsType[*ReadError](err); ok {
		for _, s := range e.sensors {
			if s.Source == re.Path {
				return s
			}
		}
	}
	return e.sensors[0]
}

func (e *entry) close() (err error) {
	defer recovered(&err)
	return e.probe.Close()
}

// recovered, deferred, turns a panic into an error.
func recovered(err *error) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("panic: %v", r)
	}
}

// changeHistory keeps when a value changed last and the shortest time between two
// changes.
type changeHistory struct {
	last     float64
	at       time.Duration
	n        int8         // 0 nothing read, 1 no change yet, 2 changed
	shortest atomic.Int64 // ns, 0 not known yet
}

func (c *changeHistory) note(now time.Duration, v float64) {
	c.last = v
	switch c.n {
	case 0:
		c.n = 1
		return
	case 2:
		d := int64(now - c.at)
		if shortest := c.shortest.Load(); d > 0 && (shortest == 0 || d < shortest) {
			c.shortest.Store(d)
		}
	}
	c.n = 2
	c.at = now
}

// reportedFailures tells new failures from those that were reported. Of texts
// that keep changing the first maxFailures are reported.
type reportedFailures struct {
	last error
	seen map[string]bool
}

const maxFailures = 16

// news are the failures in err that were not reported yet.
func (f *reportedFailures) news(err error) (list []error) {
	if same(f.last, err) {
		return nil
	}
	f.last = err
	for _, cause := range each(err) {
		text := cause.Error()
		if f.seen[text] || len(f.seen) >= maxFailures {
			continue
		}
		if f.seen == nil {
			f.seen = map[string]bool{}
		}
		f.seen[text] = true
		list = append(list, cause)
	}
	return list
}

func (f *reportedFailures) forget() { *f = reportedFailures{} }

type failure struct{ err error }

// same tells whether two errors are one value; err is not nil.
func same(last, err error) bool {
	return last != nil && reflect.TypeOf(err).Comparable() && last == err
}

// vanished tells whether an error means that the source is gone rather than
// unwilling. EBADF: something else closed the file; opening it again heals
// that.
func vanished(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.EBADF)
}
