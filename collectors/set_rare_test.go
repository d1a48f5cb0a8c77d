package collectors

import (
	"testing"
	"time"

	"sweepd/run"
)

// paced sweeps at 10 Hz and reads the slow lane when it is due, as the agent
// does, for d.
func paced(s *Set, now *time.Duration, d time.Duration) {
	for end := *now + d; *now < end; {
		*now += 100 * time.Millisecond
		s.Sweep(*now)
		if s.SlowDue(*now) {
			s.ReadSlow(*now)
		}
	}
}

// follower shows a value that the test sets, and counts its reads.
type follower struct {
	*scripted
	shown float64
	reads int
}

func newFollower(s run.Sensor) *follower {
	f := &follower{shown: 1}
	f.scripted = &scripted{sensors: []run.Sensor{s}, read: func(_ time.Duration, dst []float64) error { f.reads++; dst[0] = f.shown; return nil }}
	return f
}

// readsIn counts the reads of a probe over ten seconds.
func (f *follower) readsIn(s *Set, now *time.Duration) int {
	before := f.reads
	paced(s, now, 10*time.Second)
	return f.reads - before
}

func TestRarelyChangingProbeIsReadOnceASecond(t *testing.T) {
	f := newFollower(run.Sensor{ID: run.Temperature, Instance: "a", Unit: "celsius"})
	s, _, _, _ := newTestSet(t, f.scripted)
	now := time.Second
	if n := f.readsIn(s, &now); n != 100 {
		t.Errorf("%d reads in the first 10 s, want 100", n)
	}
	paced(s, &now, rareAfter)
	if n := f.readsIn(s, &now); n < 9 || n > 11 {
		t.Errorf("%d reads in 10 s of a value that does not change, want 10", n)
	}
	// A single change is seen within a second and brings nothing back.
	f.shown = 2
	paced(s, &now, 1200*time.Millisecond)
	wantValues(t, s.Sweep(now), 2)
	if n := f.readsIn(s, &now); n < 9 || n > 11 {
		t.Errorf("%d reads in 10 s after one change, want 10", n)
	}
	// One that changes again and again is read at every sweep soon.
	for range 40 {
		f.shown++
		paced(s, &now, 100*time.Millisecond)
	}
	f.shown++
	now += 100 * time.Millisecond
	wantValues(t, s.Sweep(now), f.shown)
}

func TestLivelyProbeIsReadAtEverySweep(t *testing.T) {
	f := newFollower(run.Sensor{ID: run.Temperature, Instance: "a", Unit: "celsius"})
	s, _, _, _ := newTestSet(t, f.scripted)
	now := time.Second
	for range 60 {
		f.shown++
		paced(s, &now, time.Second)
	}
	if n := f.readsIn(s, &now); n != 100 {
		t.Errorf("%d reads in 10 s, want 100", n)
	}
}

// What is integrated, counted or judged by is read at every sweep even where it
// stands still.
func TestWantedAtEverySweep(t *testing.T) {
	for _, sensor := range []run.Sensor{{ID: run.PackagePower, Unit: "watts"}, {ID: run.PackageEnergy, Unit: "joules", Kind: run.Counter}, {ID: run.SupplyOnline}} {
		f := newFollower(sensor)
		s, _, _, _ := newTestSet(t, f.scripted)
		now := time.Second
		paced(s, &now, 2*rareAfter)
		if n := f.readsIn(s, &now); n != 100 {
			t.Errorf("%s: %d reads in 10 s, want 100", sensor.ID, n)
		}
	}
}

// Sweeps of an idle device are too far apart to tell how often a value changes.
func TestIdleSweepsDoNotMakeAProbeRare(t *testing.T) {
	f := newFollower(run.Sensor{ID: run.Temperature, Instance: "a", Unit: "celsius"})
	s, _, _, _ := newTestSet(t, f.scripted)
	now := time.Second
	for range 20 {
		now += 10 * time.Second
		s.Sweep(now)
	}
	if n := f.readsIn(s, &now); n != 100 {
		t.Errorf("%d reads in 10 s, want 100", n)
	}
}

// A rarely changing probe that becomes slow stays where it delays nobody.
func TestRareProbeThatBecomesSlowStays(t *testing.T) {
	clock, takes := &testClock{}, time.Duration(0)
	f := newFollower(run.Sensor{ID: run.Temperature, Instance: "a", Unit: "celsius"})
	read := f.read
	f.read = func(now time.Duration, dst []float64) error { clock.pass(takes); return read(now, dst) }
	s := NewSet(SetOptions{Elapsed: clock.elapsed}, &script{offered: []*scripted{f.scripted}})
	defer s.Close()
	now := time.Second
	paced(s, &now, rareAfter+5*time.Second)
	takes = 20 * time.Millisecond
	for range 50 {
		f.shown++
		paced(s, &now, 100*time.Millisecond)
	}
	before := f.reads
	for range 20 {
		now += 100 * time.Millisecond
		s.Sweep(now)
	}
	if f.reads != before {
		t.Errorf("the sweep read a slow probe %d times", f.reads-before)
	}
}
