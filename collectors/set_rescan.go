package collectors

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"syscall"
	"time"

	"sweepd/run"
)

// generalRemedy is what to do about a source that may not be read and whose
// collector knows nothing better.
const generalRemedy = "run as a user who may read it, or give the service the capability CAP_DAC_READ_SEARCH"

// Rescan looks for sources that are new or have returned, closes those that are
// no longer offered, and opens anew what gave nothing when last read. It may
// block and is called on the goroutine of ReadSlow, every few seconds. What is
// new in the slow lane is due at once, whatever the time is.
func (s *Set) Rescan(_ time.Duration) {
	s.slowLane.Lock()
	defer s.leaveOrUnlock()
	if s.isClosed() {
		return
	}
	var absences []Absence
	var left leftOut
	for _, src := range s.sources {
		s.rescanSource(src, &left)
		absences = append(absences, src.absences...)
	}
	s.mu.Lock()
	s.absences = absences
	s.mu.Unlock()
	s.reportLeftOut(left)
}

func (s *Set) rescanSource(src *source, left *leftOut) {
	offers, absences, err := s.scan(src)
	if err != nil { // what it offered before is kept
		s.noteSource(src, run.Sensor{}, fmt.Errorf("scan: %w", err))
		return
	}
	src.absences = absences
	held := map[*entry]bool{}
	var fresh []Offer
	for _, o := range offers {
		if len(o.Sensors) == 0 {
			continue
		}
		// What gives nothing is opened anew: its files may be stale.
		if e, away := s.entryReading(src, o); e != nil && !held[e] && (away || !e.failing.Load()) {
			held[e] = true
			continue
		}
		fresh = append(fresh, o)
	}
	s.retire(src, held)
	var full error // once no descriptor is left, for what of this collector comes after
	for _, o := range fresh {
		err := full
		if err == nil {
			err = s.admit(src, o)
		}
		if errors.Is(err, syscall.EMFILE) {
			full = err
			left.add(src, o, err)
		}
		if err != nil {
			src.absences = append(src.absences, absenceOf(src.collector.Name(), o, err))
		}
	}
}

const (
	// scanPatience is how long the slow lane waits for one collector to look around.
	scanPatience = 2 * time.Second
	// openPatience is how long it waits for a probe to open, or to be tried.
	openPatience = 250 * time.Millisecond
)

// scanResult is what a scan came to.
type scanResult struct {
	offers   []Offer
	absences []Absence
	err      error
}

// scan has a collector look around. Where that takes too long it goes on, and a
// later scan gives what came of it.
func (s *Set) scan(src *source) ([]Offer, []Absence, error) {
	if src.scanning == nil {
		src.scanning = begin(func() (r scanResult) {
			defer recovered(&r.err)
			r.offers, r.absences = src.collector.Scan()
			return r
		})
	}
	r, done := src.scanning.wait(scanPatience)
	if !done {
		return nil, nil, fmt.Errorf("not done after %v, and going on", scanPatience)
	}
	src.scanning = nil
	return r.offers, r.absences, r.err
}

// entryReading is the open entry that reads the very files that are offered, and
// whether it is away; nil if there is none.
func (s *Set) entryReading(src *source, o Offer) (e *entry, away bool) {
	at, known := s.positions[keyOf(o.Sensors[0])]
	if !known {
		return nil, false
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	e = s.entryAt[at]
	if e.source != src || !e.open || !slices.EqualFunc(e.sensors, o.Sensors, func(a, b run.Sensor) bool { return keyOf(a) == keyOf(b) && a.Source == b.Source }) {
		return nil, false
	}
	return e, e.away
}

// retire closes the open entries of a source that are not held.
func (s *Set) retire(src *source, held map[*entry]bool) {
	s.sweeping.Lock()
	s.mu.Lock()
	var out []*entry
	for _, e := range slices.Concat(s.fast, s.slow) {
		if e.source == src && !held[e] {
			out = append(out, e)
		}
	}
	if len(out) > 0 {
		s.fast, s.slow = without(s.fast, out), without(s.slow, out)
	}
	s.mu.Unlock()
	s.sweeping.Unlock()
	_ = s.closeAll(out, "no longer there") // an error of closing what is gone changes nothing
}

// admit opens what is offered and gives it a lane and its positions.
func (s *Set) admit(src *source, o Offer) error {
	if err := s.refuseTaken(o); err != nil {
		s.noteSource(src, o.Sensors[0], err)
		return err
	}
	took, err := s.readTimeOf(o)
	var probe Probe
	if err == nil {
		probe, err = s.open(o)
	}
	if err != nil {
		if !errors.Is(err, syscall.EMFILE) { // that is reported for all at once
			s.noteSource(src, o.Sensors[0], err)
		}
		return err
	}
	n := len(o.Sensors)
	e := &entry{
		source: src, sensors: o.Sensors, interval: o.MinInterval, probe: probe,
		at: make([]int, n), buf: make([]float64, n), latest: make([]float64, n), changes: make([]changeHistory, n),
		failures: &reportedFailures{}, everySweep: wantedEverySweep(o.Sensors), open: true, bounds: boundsOf(o.Sensors),
	}
	e.readTime.Store(int64(took))
	s.install(e, o.MinInterval > 0 || took > s.slowRead)
	return nil
}

// refuseTaken is an error where another probe reads a sensor of the offer already,
// or the offer has one twice.
func (s *Set) refuseTaken(o Offer) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, sensor := range o.Sensors {
		if at, known := s.positions[keyOf(sensor)]; known && s.entryAt[at].open {
			return fmt.Errorf("%s: the name %s %q is taken by %s", sensor.Source, sensor.ID, sensor.Instance, s.sensors[at].Source)
		}
		for _, other := range o.Sensors[:i] {
			if keyOf(other) == keyOf(sensor) {
				return fmt.Errorf("%s: the name %s %q is taken by %s", sensor.Source, sensor.ID, sensor.Instance, other.Source)
			}
		}
	}
	return nil
}

// readTimeOf tells how long a read takes: for a source that returns, what was
// measured before; else it is measureResult now. Probes with an interval are not
// measured, for they may be read no oftener.
func (s *Set) readTimeOf(o Offer) (time.Duration, error) {
	if at, known := s.positions[keyOf(o.Sensors[0])]; known {
		s.mu.Lock()
		defer s.mu.Unlock()
		return time.Duration(s.entryAt[at].readTime.Load()), nil
	}
	if o.MinInterval > 0 {
		return 0, nil
	}
	return s.measure(o)
}

// measureResult is how long a read takes, or why nothing can be read.
type measureResult struct {
	took time.Duration
	err  error
}

// measure reads through a probe of its own, so that a probe that forms rates
// does not start from a read at an unknown time. What does not come back in time
// is slow; it is closed when it does.
func (s *Set) measure(o Offer) (time.Duration, error) {
	m, done := begin(func() (m measureResult) {
		trial := open(o)
		if trial.err != nil {
			return measureResult{err: trial.err}
		}
		e := &entry{probe: trial.probe, buf: make([]float64, len(o.Sensors))}
		for i := range slowHits {
			start := s.elapsed()
			_ = e.readProbe(0) // only the time counts here
			if d := s.elapsed() - start; i == 0 || d < m.took {
				m.took = d
			}
		}
		m.err = e.close()
		return m
	}).wait(openPatience)
	if !done {
		return openPatience, nil
	}
	return m.took, m.err
}

// openResult is what opening a probe came to.
type openResult struct {
	probe Probe
	err   error
}

func open(o Offer) (r openResult) {
	defer recovered(&r.err)
	r.probe, r.err = o.Open()
	return r
}

// open opens what is offered. Where that takes too long it goes on, and a later
// call gives what came of it.
func (s *Set) open(o Offer) (Probe, error) {
	key := keyOf(o.Sensors[0])
	p, begun := s.opening[key]
	if !begun {
		p = begin(func() openResult { return open(o) })
	}
	r, done := p.wait(openPatience)
	if !done {
		s.opening[key] = p
		return nil, fmt.Errorf("open %s: not done after %v, and going on", o.Sensors[0].Source, openPatience)
	}
	delete(s.opening, key)
	return r.probe, r.err
}

// dropOpening closes what is still being opened, once it is open.
func (s *Set) dropOpening() {
	for key, p := range s.opening {
		delete(s.opening, key)
		go func() {
			if r := <-p; r.err == nil {
				_ = (&entry{probe: r.probe}).close()
			}
		}()
	}
}

// install makes an opened entry part of the sweeps.
func (s *Set) install(e *entry, slow bool) {
	s.sweeping.Lock()
	defer s.sweeping.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	sensors := slices.Clone(s.sensors)
	for j, sensor := range e.sensors {
		at, known := s.positions[keyOf(sensor)]
		if !known {
			at = len(sensors)
			s.positions[keyOf(sensor)] = at
			sensors = append(sensors, sensor)
			s.entryAt = append(s.entryAt, e)
		} else {
			// What failed before and was reported is not reported again until
			// something was read. An entry that is away uses its own list.
			before := s.entryAt[at]
			e.reopened, e.hung = true, before.hung
			if !before.away {
				e.failures = before.failures
			}
		}
		sensors[at], s.entryAt[at], e.at[j] = sensor, e, at
	}
	s.sensors = sensors
	if slow {
		s.slow = append(s.slow, e)
		s.nextSlow.Store(0)
	} else {
		s.fast = append(s.fast, e)
	}
}

// leftOut are the sensors that no descriptor was left for.
type leftOut struct {
	n     int
	first []string // of some, with their sources
	src   *source
	err   error
}

func (l *leftOut) add(src *source, o Offer, err error) {
	if l.n == 0 {
		l.src, l.err = src, err
	}
	for _, sensor := range o.Sensors {
		if l.n++; len(l.first) < 3 {
			l.first = append(l.first, sensor.Source)
		}
	}
}

// reportLeftOut reports how many sensors are left out, where that is another number
// than before.
func (s *Set) reportLeftOut(l leftOut) {
	if l.n != s.leftOut && l.n > 0 {
		s.onError(l.src.collector.Name(), run.Sensor{}, fmt.Errorf("%d sensors are left out (%s, ...): %w", l.n, strings.Join(l.first, ", "), l.err))
	}
	s.leftOut = l.n
}

// noteSource counts and reports a failed scan or opening. What is forbidden or
// not there is reported and not counted.
func (s *Set) noteSource(src *source, sensor run.Sensor, err error) {
	if !errors.Is(err, fs.ErrPermission) && !errors.Is(err, fs.ErrNotExist) {
		src.errors.Add(1)
	}
	if len(src.reported.news(err)) > 0 {
		s.onError(src.collector.Name(), sensor, err)
	}
}

func absenceOf(collector string, o Offer, err error) Absence {
	a := Absence{Collector: collector, Source: o.Sensors[0].Source, Why: err.Error()}
	if pe, ok := errors.AsType[*fs.PathError](err); ok {
		a.Source, a.Why = pe.Path, pe.Err.Error()
	}
	if errors.Is(err, syscall.EMFILE) {
		a.Remedy = "raise the limit (LimitNOFILE= of the service, ulimit -n)"
	}
	if errors.Is(err, fs.ErrPermission) {
		a.Why, a.Remedy = "permission denied", o.Remedy
		if a.Remedy == "" {
			a.Remedy = generalRemedy
		}
	}
	return a
}
