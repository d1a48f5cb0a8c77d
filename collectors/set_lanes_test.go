package collectors

import (
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"sweepd/run"
)

// counting is a probe that reads how often it was read.
func counting(instance string, interval time.Duration) *scripted {
	n := 0.0
	p := one(instance, func(_ time.Duration, dst []float64) error { n++; dst[0] = n; return nil })
	p.interval = interval
	return p
}

func TestProbeWithAnIntervalIsReadNoOftener(t *testing.T) {
	s, _, _, _ := newTestSet(t, counting("a", time.Second))
	if !s.SlowDue(0) {
		t.Fatal("not due before the first read")
	}
	wantValues(t, s.Sweep(0), nan)
	reads := 0.0
	for ms := time.Duration(0); ms < 10_000; ms += 250 {
		now := ms * time.Millisecond
		if ms%1000 == 0 {
			reads++
		}
		if got := s.SlowDue(now); got != (ms%1000 == 0) {
			t.Fatalf("at %v due %v", now, got)
		}
		s.ReadSlow(now)
		wantValues(t, s.Sweep(now), reads)
	}
}

// Lag tells how old a value of the slow lane is, and nothing of the fast one.
func TestLag(t *testing.T) {
	s, _, _, _ := newTestSet(t, counting("a", time.Second), counting("b", 0))
	s.ReadSlow(0)
	s.Sweep(700 * time.Millisecond)
	if slow, fast, none := s.Lag(0), s.Lag(1), s.Lag(2); slow != 700*time.Millisecond || fast != 0 || none != 0 {
		t.Errorf("slow %v, fast %v, none %v", slow, fast, none)
	}
	s.ReadSlow(1000 * time.Millisecond)
	s.Sweep(1000 * time.Millisecond)
	if slow := s.Lag(0); slow != 0 {
		t.Errorf("just read: %v", slow)
	}
}

// Whoever relies on the slow lane has it read once a second, from at once, and none of it
// for more than half the time.
func TestHasten(t *testing.T) {
	rare, slow := counting("rare", 5*time.Second), counting("slow", 0)
	clock := &testClock{}
	read := slow.read
	slow.read = func(now time.Duration, dst []float64) error {
		clock.pass(800 * time.Millisecond)
		return read(now, dst)
	}
	c := &script{offered: []*scripted{rare, slow}}
	s := NewSet(SetOptions{Elapsed: clock.elapsed}, c)
	defer s.Close()
	reads := func(from, to time.Duration) [2]float64 {
		s.ReadSlow(from)
		before := slices.Clone(s.Sweep(from))
		for now := from; now <= to; now += 250 * time.Millisecond {
			if s.SlowDue(now) {
				s.ReadSlow(now)
			}
		}
		after := s.Sweep(to)
		return [2]float64{after[0] - before[0], after[1] - before[1]}
	}
	if n := reads(0, 20*time.Second); n != [2]float64{4, 2} {
		t.Errorf("%v reads in 20 s, want 4 and 2", n)
	}
	s.Hasten(500 * time.Millisecond)
	if !s.SlowDue(20 * time.Second) {
		t.Error("nothing is due once somebody relies on it")
	}
	if n := reads(21*time.Second, 41*time.Second); n[0] < 15 || n[1] < 8 || n[1] > 13 {
		t.Errorf("%v reads in 20 s, want 15 at least of one and some 10 of the slow one", n)
	}
	s.Hasten(0)
	reads(42*time.Second, 50*time.Second) // what is due already
	if n := reads(50*time.Second, 70*time.Second); n[0] > 4 || n[1] > 3 {
		t.Errorf("%v reads in 20 s, want no more than before", n)
	}
}

func TestPacingJitterDoesNotSkipAnInterval(t *testing.T) {
	s, _, _, _ := newTestSet(t, counting("a", time.Second))
	s.ReadSlow(2 * time.Millisecond) // 2 ms late
	s.ReadSlow(1000 * time.Millisecond)
	wantValues(t, s.Sweep(time.Second), 2)
}

func TestSlowValueIsMissingOnceStale(t *testing.T) {
	s, _, _, _ := newTestSet(t, counting("a", time.Second), counting("b", 4*time.Second))
	s.ReadSlow(0)
	wantValues(t, s.Sweep(10*time.Second), 1, 1)
	wantValues(t, s.Sweep(10*time.Second+1), nan, 1)
	wantValues(t, s.Sweep(20*time.Second), nan, 1)
	wantValues(t, s.Sweep(20*time.Second+1), nan, nan)
	s.ReadSlow(21 * time.Second)
	wantValues(t, s.Sweep(21*time.Second), 2, 2)
}

func TestProbeThatIsSlowAtOpeningIsInTheSlowLane(t *testing.T) {
	clock := &testClock{}
	p := constant("a", 1)
	p.read = func(_ time.Duration, dst []float64) error { clock.pass(6 * time.Millisecond); dst[0] = 1; return nil }
	s := NewSet(SetOptions{Elapsed: clock.elapsed}, &script{offered: []*scripted{p}})
	defer s.Close()
	wantValues(t, s.Sweep(0), nan)
	s.ReadSlow(0)
	wantValues(t, s.Sweep(0), 1)
	if read, _ := s.Timing(0); read != 6*time.Millisecond {
		t.Errorf("read time %v, want 6ms", read)
	}
}

// What fails is opened anew at each Rescan, but not measured again: where it
// fails by a timeout that would hold up the whole lane.
func TestSlowFailureIsNotMeasuredAgain(t *testing.T) {
	clock, reads := &testClock{}, 0
	p := one("a", func(time.Duration, []float64) error {
		clock.pass(5 * time.Second)
		reads++
		return &ReadError{Path: "/src/a", Err: syscall.ETIMEDOUT}
	})
	s := NewSet(SetOptions{Elapsed: clock.elapsed}, &script{offered: []*scripted{p}})
	defer s.Close()
	s.ReadSlow(0)
	before := reads
	for range 3 {
		s.Rescan(0)
	}
	if reads != before {
		t.Errorf("read %d times by Rescan", reads-before)
	}
	if read, _ := s.Timing(0); read != 5*time.Second {
		t.Errorf("read time %v, want 5s", read)
	}
}

// A probe that is slow once is not slow; slow again and again, it changes
// lanes; quick for long, it comes back.
func TestProbeChangesLanes(t *testing.T) {
	clock, takes, reads := &testClock{}, time.Duration(0), 0.0
	p := one("a", func(_ time.Duration, dst []float64) error { clock.pass(takes); reads++; dst[0] = reads; return nil })
	s := NewSet(SetOptions{Elapsed: clock.elapsed}, &script{offered: []*scripted{p, constant("b", 2)}})
	defer s.Close()
	reads = 0
	now := time.Duration(0)
	sweep := func(want float64) {
		t.Helper()
		now += 100 * time.Millisecond
		wantValues(t, s.Sweep(now), want, 2)
	}
	sweep(1)
	takes = 7 * time.Millisecond
	sweep(2) // noticed
	takes = 0
	sweep(3) // measured: quick
	sweep(4)
	takes = 7 * time.Millisecond
	sweep(5) // noticed
	sweep(6) // measured
	sweep(7) // measured again: out
	sweep(7)
	if !s.SlowDue(now) {
		t.Fatal("not due after it changed lanes")
	}
	s.ReadSlow(now)
	sweep(8)
	sweep(8)
	takes = 0
	for range quickHits {
		now += time.Second
		s.ReadSlow(now)
	}
	sweep(8 + quickHits + 1) // back: read in the sweep
	sweep(8 + quickHits + 2)
}

func TestBlockedProbeDelaysNoSweep(t *testing.T) {
	release, blocked := make(chan struct{}), make(chan struct{})
	var block atomic.Bool
	a := one("a", func(_ time.Duration, dst []float64) error {
		if block.Load() {
			close(blocked)
			<-release
		}
		dst[0] = 1
		return nil
	})
	a.interval = time.Second
	s, _, _, _ := newTestSet(t, a, constant("b", 2))
	s.ReadSlow(0)
	block.Store(true)
	done := make(chan struct{})
	go func() { defer close(done); s.ReadSlow(time.Second) }()
	<-blocked
	// None of these waits; the test would not end otherwise.
	wantValues(t, s.Sweep(2*time.Second), 1, 2)
	wantValues(t, s.Sweep(11*time.Second), nan, 2)
	s.Sensors()
	s.Health()
	s.Absences()
	s.Timing(0)
	s.SlowDue(11 * time.Second)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	wantValues(t, s.Sweep(12*time.Second), nan, nan)
	if a.opened.Load() != 1 {
		t.Error("a probe was closed while it was being read")
	}
	close(release)
	<-done // newTestSet checks that it is closed now
}

func TestReadsAfterABlockedOneKnowTheirTime(t *testing.T) {
	clock := &testClock{}
	a := one("a", func(_ time.Duration, dst []float64) error { clock.pass(3 * time.Second); dst[0] = 1; return nil })
	b := one("b", func(now time.Duration, dst []float64) error { dst[0] = now.Seconds(); return nil })
	a.interval, b.interval = time.Second, time.Second
	s := NewSet(SetOptions{Elapsed: clock.elapsed}, &script{offered: []*scripted{a, b}})
	defer s.Close()
	s.ReadSlow(10 * time.Second)
	wantValues(t, s.Sweep(13*time.Second), 1, 13)
}

func TestVanishedInTheSlowLane(t *testing.T) {
	var fail error
	a := one("a", func(_ time.Duration, dst []float64) error {
		if fail == nil {
			dst[0] = 5
		}
		return fail
	})
	a.interval = time.Second
	s, _, _, _ := newTestSet(t, a)
	s.ReadSlow(0)
	wantValues(t, s.Sweep(0), 5)
	fail = &ReadError{Path: "/src/a", Err: errNoDevice}
	s.ReadSlow(time.Second)
	wantValues(t, s.Sweep(time.Second), nan)
	if a.opened.Load() != 0 {
		t.Error("still open")
	}
	fail = nil
	s.Rescan(2 * time.Second)
	s.ReadSlow(2 * time.Second)
	wantValues(t, s.Sweep(2*time.Second), 5)
}

func TestRefreshIsTheShortestTimeBetweenChanges(t *testing.T) {
	a := one("a", func(now time.Duration, dst []float64) error { dst[0] = float64(now / (2 * time.Second)); return nil })
	s, _, _, _ := newTestSet(t, a)
	for now := time.Duration(0); now < 3*time.Second; now += 250 * time.Millisecond {
		s.Sweep(now)
	}
	if _, refresh := s.Timing(0); refresh != 0 {
		t.Errorf("refresh %v after one change, want unknown", refresh)
	}
	for now := 3 * time.Second; now < 9*time.Second; now += 250 * time.Millisecond {
		s.Sweep(now)
	}
	if _, refresh := s.Timing(0); refresh != 2*time.Second {
		t.Errorf("refresh %v, want 2s", refresh)
	}
	if read, refresh := s.Timing(7); read != 0 || refresh != 0 {
		t.Errorf("Timing of no sensor: %v, %v", read, refresh)
	}
}

// Everything at once, for the race detector: sources vanish and return while
// they are swept and asked about.
func TestConcurrentUse(t *testing.T) {
	var flip atomic.Int64
	ps := make([]*scripted, 8)
	for i := range ps {
		ps[i] = one(string(rune('a'+i)), func(_ time.Duration, dst []float64) error {
			if flip.Add(1)%37 == 0 {
				return &ReadError{Path: "x", Err: errNoDevice}
			}
			dst[0] = float64(i)
			return nil
		})
		if i%2 == 0 {
			ps[i].interval = time.Millisecond
		}
	}
	s, c, _, _ := newTestSet(t, ps...)
	var wg sync.WaitGroup
	const rounds = 300
	wg.Go(func() {
		for i := range rounds {
			now := time.Duration(i) * time.Millisecond
			s.ReadSlow(now)
			if i%7 == 0 {
				c.offer(ps[i%5:]...)
				s.Rescan(now)
			}
		}
	})
	wg.Go(func() {
		for range rounds {
			s.Health()
			s.Absences()
			for i := range s.Sensors() {
				s.Timing(i)
			}
		}
	})
	for i := range rounds {
		now := time.Duration(i) * time.Millisecond
		s.SlowDue(now)
		for j, v := range s.Sweep(now) {
			if v == v && s.Sensors()[j].Instance != string(rune('a'+int(v))) {
				t.Fatalf("position %d has the value of %v", j, v)
			}
		}
	}
	wg.Wait()
}

func TestSweepDoesNotAllocate(t *testing.T) {
	fail := &ReadError{Path: "/src/c", Err: errNoDevice}
	pair := &scripted{sensors: []run.Sensor{{ID: run.BatteryPower}, {ID: run.BatteryEnergy}}, read: func(_ time.Duration, dst []float64) error {
		dst[0] = 1
		return fail
	}}
	s, _, _, _ := newTestSet(t, constant("a", 1), counting("b", time.Second), pair, counting("c", 0))
	now := time.Duration(0)
	s.ReadSlow(now)
	s.Sweep(now)
	if n := testing.AllocsPerRun(100, func() {
		now += 100 * time.Millisecond
		if s.SlowDue(now) {
			s.ReadSlow(now)
		}
		s.Sweep(now)
	}); n != 0 {
		t.Errorf("%v allocations a sweep, want 0", n)
	}
}
