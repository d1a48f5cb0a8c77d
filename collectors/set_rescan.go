package collectors

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
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
	for _, src := range s.sources {
		s.rescanSource(src)
		absences = append(absences, src.absences...)
	}
	s.mu.Lock()
	s.absences = absences
	s.mu.Unlock()
}

func (s *Set) rescanSource(src *source) {
	offers, absences, err := scan(src.collector)
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
		if e := s.entryReading(src, o); e != nil && !held[e] && !e.failing.Load() {
			held[e] = true
			continue
		}
		fresh = append(fresh, o)
	}
	s.retire(src, held)
	for _, o := range fresh {
		if err := s.admit(src, o); err != nil {
			src.absences = append(src.absences, absenceOf(src.collector.Name(), o, err))
		}
	}
}

func scan(c Collector) (offers []Offer, absences []Absence, err error) {
	defer recovered(&err)
	offers, absences = c.Scan()
	return offers, absences, nil
}

// entryReading is the open entry that reads the very files that are offered, nil
// if there is none.
func (s *Set) entryReading(src *source, o Offer) *entry {
	at, known := s.positions[keyOf(o.Sensors[0])]
	if !known {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	e := s.entryAt[at]
	if e.source != src || !e.open || !slices.EqualFunc(e.sensors, o.Sensors, func(a, b run.Sensor) bool { return keyOf(a) == keyOf(b) && a.Source == b.Source }) {
		return nil
	}
	return e
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
		probe, err = open(o)
	}
	if err != nil {
		s.noteSource(src, o.Sensors[0], err)
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
// measured before; else it is measured now. Probes with an interval are not
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

// measure reads through a probe of its own, so that a probe that forms rates
// does not start from a read at an unknown time.
func (s *Set) measure(o Offer) (took time.Duration, err error) {
	probe, err := open(o)
	if err != nil {
		return 0, err
	}
	e := &entry{probe: probe, buf: make([]float64, len(o.Sensors))}
	for i := range slowHits {
		start := s.elapsed()
		_ = e.readProbe(0) // only the time counts here
		if d := s.elapsed() - start; i == 0 || d < took {
			took = d
		}
	}
	return took, e.close()
}

func open(o Offer) (p Probe, err error) {
	defer recovered(&err)
	return o.Open()
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
			// What failed before and was reported is not reported again
			// until something was read.
			e.failures, e.reopened = s.entryAt[at].failures, true
		}
		sensors[at], s.entryAt[at], e.at[j] = sensor, e, at
	}
	s.sensors = sensors
	if slow {
		s.slow = append(s.slow, e)
		e.setQuick(false)
		s.nextSlow.Store(0)
	} else {
		s.fast = append(s.fast, e)
		e.setQuick(true)
	}
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
	if errors.Is(err, fs.ErrPermission) {
		a.Why, a.Remedy = "permission denied", o.Remedy
		if a.Remedy == "" {
			a.Remedy = generalRemedy
		}
	}
	return a
}
