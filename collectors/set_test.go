package collectors

import (
	"errors"
	"io/fs"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
)

// script is a collector whose probes do what a test says.
type script struct {
	mu      sync.Mutex
	offered []*scripted
}

func (c *script) Name() string { return "script" }

func (c *script) Scan() (offers []Offer, absences []Absence) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, p := range c.offered {
		offers = append(offers, Offer{Sensors: p.sensors, MinInterval: p.interval, Open: p.open, Remedy: p.remedy})
	}
	return offers, []Absence{{Collector: "script", Source: "/nowhere", Why: "no such driver"}}
}

func (c *script) offer(ps ...*scripted) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.offered = ps
}

// scripted is a probe and its own offer.
type scripted struct {
	sensors  []run.Sensor
	interval time.Duration
	remedy   string
	openErr  error
	opened   atomic.Int32 // openings minus closings
	read     func(now time.Duration, dst []float64) error
}

// one is a probe with one sensor, named by its instance.
func one(instance string, read func(now time.Duration, dst []float64) error) *scripted {
	return &scripted{sensors: []run.Sensor{{ID: run.Temperature, Instance: instance, Unit: "celsius", Source: "/src/" + instance}}, read: read}
}

// constant is a probe that always reads v.
func constant(instance string, v float64) *scripted {
	return one(instance, func(_ time.Duration, dst []float64) error { dst[0] = v; return nil })
}

func (p *scripted) open() (Probe, error) {
	if p.openErr != nil {
		return nil, p.openErr
	}
	p.opened.Add(1)
	return p, nil
}

func (p *scripted) Read(now time.Duration, dst []float64) error { return p.read(now, dst) }
func (p *scripted) Close() error                                { p.opened.Add(-1); return nil }

// testClock is the clock that read times are measured with.
type testClock struct{ ns atomic.Int64 }

func (c *testClock) elapsed() time.Duration { return time.Duration(c.ns.Load()) }
func (c *testClock) pass(d time.Duration)   { c.ns.Add(int64(d)) }

// reports collects what OnError hears.
type reports struct {
	mu   sync.Mutex
	list []string
}

func (r *reports) hear(collector string, s run.Sensor, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.list = append(r.list, collector+" "+s.Instance+": "+err.Error())
}

func (r *reports) heard() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.list)
}

func newTestSet(t *testing.T, ps ...*scripted) (*Set, *script, *reports, *testClock) {
	t.Helper()
	c, r, clock := &script{offered: ps}, &reports{}, &testClock{}
	s := NewSet(SetOptions{OnError: r.hear, Elapsed: clock.elapsed}, c)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
		for _, p := range ps {
			for late := time.Now().Add(10 * time.Second); p.opened.Load() != 0 && time.Now().Before(late); time.Sleep(time.Millisecond) {
				// its read has not come back yet
			}
			if n := p.opened.Load(); n != 0 {
				t.Errorf("%s: %d more openings than closings", p.sensors[0].Instance, n)
			}
		}
	})
	return s, c, r, clock
}

func wantValues(t *testing.T, got []float64, want ...float64) {
	t.Helper()
	if !slices.EqualFunc(got, want, func(a, b float64) bool { return a == b || a != a && b != b }) {
		t.Fatalf("values %v, want %v", got, want)
	}
}

var nan = math.NaN()

var errNoDevice error = syscall.ENODEV

func TestSweepReadsEverySensorInOrder(t *testing.T) {
	pair := &scripted{
		sensors: []run.Sensor{{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.BatteryEnergy, Instance: "BAT0"}},
		read:    func(_ time.Duration, dst []float64) error { dst[0], dst[1] = 2, 3; return nil },
	}
	s, _, _, _ := newTestSet(t, constant("a", 1), pair, constant("b", 4))
	wantValues(t, s.Sweep(0), 1, 2, 3, 4)
	if got := s.Sensors(); len(got) != 4 || got[2].ID != run.BatteryEnergy {
		t.Errorf("Sensors: %v", got)
	}
}

func TestInfiniteValueIsMissing(t *testing.T) {
	s, _, _, _ := newTestSet(t, constant("a", math.Inf(1)))
	wantValues(t, s.Sweep(0), nan)
}

func TestFailureIsMissingCountedAndReportedOnce(t *testing.T) {
	var fail error
	a := one("a", func(_ time.Duration, dst []float64) error { dst[0] = 1; return fail })
	b := one("b", func(_ time.Duration, dst []float64) error {
		if fail != nil {
			return fail
		}
		dst[0] = 7
		return nil
	})
	s, _, r, _ := newTestSet(t, a, b)
	wantValues(t, s.Sweep(0), 1, 7)

	noData := &ReadError{Path: "/src/b", Err: syscall.ENODATA}
	fail = noData
	for i := range 5 {
		wantValues(t, s.Sweep(time.Duration(i+1)), 1, nan)
	}
	if got := s.Cause(1); got != fail {
		t.Errorf("cause %v, want %v", got, fail)
	}
	fail = &ReadError{Path: "/src/b", Text: "x", Want: "number"}
	wantValues(t, s.Sweep(6), 1, nan)
	fail = noData
	wantValues(t, s.Sweep(7), 1, nan)
	fail = nil
	wantValues(t, s.Sweep(8), 1, 7)
	if got := s.Cause(1); got != nil {
		t.Errorf("cause %v after a good read", got)
	}

	want := []string{
		"script a: read /src/b: no data available", "script b: read /src/b: no data available",
		`script a: read /src/b: got "x", want number`, `script b: read /src/b: got "x", want number`,
	}
	if d := cmp.Diff(want, r.heard()); d != "" {
		t.Errorf("reports (-want +got):\n%s", d)
	}
	if d := cmp.Diff([]Health{{Name: "script", Up: true, Errors: 14}}, s.Health()); d != "" {
		t.Errorf("health (-want +got):\n%s", d)
	}
}

func TestReportsOfChangingTextsAreBounded(t *testing.T) {
	n := 0
	s, _, r, _ := newTestSet(t, one("a", func(time.Duration, []float64) error {
		n++
		return &ReadError{Path: "/src/a", Text: string(rune('a' + n)), Want: "number"}
	}))
	for i := range 100 {
		s.Sweep(time.Duration(i))
	}
	if got := len(r.heard()); got != maxFailures {
		t.Errorf("%d reports, want %d", got, maxFailures)
	}
}

func TestHealthIsDownWhileNothingCanBeRead(t *testing.T) {
	fail := errors.New("unwilling")
	s, _, _, _ := newTestSet(t, one("a", func(_ time.Duration, dst []float64) error {
		if fail == nil {
			dst[0] = 1
		}
		return fail
	}))
	s.Sweep(0)
	if s.Health()[0].Up {
		t.Error("up although the only probe fails")
	}
	fail = nil
	s.Sweep(1)
	if !s.Health()[0].Up {
		t.Error("down although the probe reads again")
	}
}

func TestPanicIsAnError(t *testing.T) {
	bad := one("a", func(time.Duration, []float64) error { panic("index out of range") })
	s, c, r, _ := newTestSet(t, bad, constant("b", 2))
	wantValues(t, s.Sweep(0), nan, 2)
	wantValues(t, s.Sweep(1), nan, 2)
	if d := cmp.Diff([]string{"script a: panic: index out of range"}, r.heard()); d != "" {
		t.Errorf("reports (-want +got):\n%s", d)
	}
	// A panic of Scan keeps what is open.
	c.offer(bad, nil)
	s.Rescan(2)
	wantValues(t, s.Sweep(2), nan, 2)
	if got := r.heard(); len(got) != 2 {
		t.Errorf("reports %q, want one more for the scan", got)
	}
}

func TestVanishedSourceKeepsItsPlaceAndReturns(t *testing.T) {
	var fail error
	a := one("a", func(_ time.Duration, dst []float64) error {
		if fail == nil {
			dst[0] = 5
		}
		return fail
	})
	x, y, added := constant("x", 1), constant("y", 2), constant("added", 9)
	s, c, r, _ := newTestSet(t, x, a, y)
	wantValues(t, s.Sweep(0), 1, 5, 2)
	for round := range 3 {
		fail = &ReadError{Path: "/src/a", Err: syscall.ENODEV}
		wantValues(t, s.Sweep(1)[:3], 1, nan, 2)
		if n := a.opened.Load(); n != 0 {
			t.Fatalf("%d openings left after it vanished", n)
		}
		want := Absence{Collector: "script", Source: "/src/a", Why: "read /src/a: no such device"}
		if !slices.Contains(s.Absences(), want) {
			t.Errorf("absences %v, want %v among them", s.Absences(), want)
		}
		s.Rescan(2) // offered and opened, but still gone: no second report
		wantValues(t, s.Sweep(2)[:3], 1, nan, 2)
		c.offer(x, y)
		s.Rescan(3)
		wantValues(t, s.Sweep(3)[:3], 1, nan, 2)
		fail = nil
		c.offer(added, y, a, x) // back, with something new and in another order
		s.Rescan(4)
		wantValues(t, s.Sweep(4), 1, 5, 2, 9)
		if got := len(r.heard()); got != round+1 {
			t.Errorf("round %d: reports %q, want one each", round, r.heard())
		}
	}
}

func TestUnknownValueOfAPresentSourceIsNotVanishing(t *testing.T) {
	p := &scripted{
		sensors: []run.Sensor{{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.BatteryEnergy, Instance: "BAT0"}},
		read: func(_ time.Duration, dst []float64) error {
			dst[1] = 3
			return &ReadError{Path: "power_now", Err: syscall.ENODEV}
		},
	}
	s, _, _, _ := newTestSet(t, p)
	for i := range 3 {
		wantValues(t, s.Sweep(time.Duration(i)), nan, 3)
	}
}

func TestNoLongerOfferedIsClosedAndMissing(t *testing.T) {
	a := constant("a", 1)
	s, c, _, _ := newTestSet(t, a, constant("b", 2))
	c.offer(c.offered[1])
	s.Rescan(0)
	wantValues(t, s.Sweep(0), nan, 2)
	if a.opened.Load() != 0 {
		t.Error("still open")
	}
	want := []Absence{{"script", "/nowhere", "no such driver", ""}, {"script", "/src/a", "no longer there", ""}}
	if d := cmp.Diff(want, s.Absences()); d != "" {
		t.Errorf("absences (-want +got):\n%s", d)
	}
}

func TestOfferMayChangeShape(t *testing.T) {
	read := func(_ time.Duration, dst []float64) error {
		for i := range dst {
			dst[i] = float64(10 + i)
		}
		return nil
	}
	power, energy, charge := run.Sensor{ID: run.BatteryPower}, run.Sensor{ID: run.BatteryEnergy}, run.Sensor{ID: run.BatteryCharge}
	s, c, _, _ := newTestSet(t, &scripted{sensors: []run.Sensor{power, energy}, read: read}, constant("x", 1))
	wantValues(t, s.Sweep(0), 10, 11, 1)
	c.offer(&scripted{sensors: []run.Sensor{charge, energy}, read: read}, c.offered[1])
	s.Rescan(1)
	wantValues(t, s.Sweep(1), nan, 11, 1, 10)
}

func TestMovedSourceIsOpenedAnew(t *testing.T) {
	s, c, _, _ := newTestSet(t, constant("a", 1))
	moved := constant("a", 2)
	moved.sensors[0].Source = "/src/hwmon7"
	before := s.Sensors()
	c.offer(moved)
	s.Rescan(1)
	wantValues(t, s.Sweep(1), 2)
	if before[0].Source != "/src/a" || s.Sensors()[0].Source != "/src/hwmon7" {
		t.Errorf("sources %s and %s", before[0].Source, s.Sensors()[0].Source)
	}
}

func TestTakenNameIsAnAbsence(t *testing.T) {
	first, second := constant("a", 1), constant("a", 2)
	second.sensors[0].Source = "/src/other"
	s, _, r, _ := newTestSet(t, first, second)
	wantValues(t, s.Sweep(0), 1)
	s.Rescan(1)
	wantValues(t, s.Sweep(1), 1)
	if len(r.heard()) != 1 || len(s.Absences()) != 2 {
		t.Errorf("reports %q, absences %v", r.heard(), s.Absences())
	}
}

func TestForbiddenSourceIsAnAbsenceWithARemedy(t *testing.T) {
	a := constant("a", 1)
	a.openErr, a.remedy = &fs.PathError{Op: "open", Path: "/src/energy_uj", Err: syscall.EACCES}, "grant it"
	b := constant("b", 2)
	b.openErr = &fs.PathError{Op: "open", Path: "/src/other", Err: syscall.EACCES}
	s, _, r, _ := newTestSet(t, a, b)
	s.Rescan(1)
	want := []Absence{
		{"script", "/nowhere", "no such driver", ""},
		{"script", "/src/energy_uj", "permission denied", "grant it"},
		{"script", "/src/other", "permission denied", generalRemedy},
	}
	if d := cmp.Diff(want, s.Absences()); d != "" {
		t.Errorf("absences (-want +got):\n%s", d)
	}
	if len(r.heard()) != 2 {
		t.Errorf("reports %q, want one each", r.heard())
	}
	if d := cmp.Diff([]Health{{Name: "script"}}, s.Health()); d != "" {
		t.Errorf("health (-want +got):\n%s", d)
	}
	a.openErr = nil
	s.Rescan(2)
	wantValues(t, s.Sweep(2), 1)
}
