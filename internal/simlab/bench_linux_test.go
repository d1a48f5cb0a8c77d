package simlab_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"sweepd/agent"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
)

// Time goes by on the bench to the nanosecond, whole steps or not.
func TestTimeGoesBy(t *testing.T) {
	b := newBench(t, simdevice.UnitOak(), newStore(t))
	for name, wait := range map[string]func(time.Duration) error{"Rest": b.Rest, "Pass": b.Pass} {
		for _, d := range []time.Duration{0, 1, time.Second, simlab.IdleEvery, simlab.IdleEvery + 1} {
			before := b.Now()
			if err := wait(d); err != nil {
				t.Fatal(err)
			}
			if went := b.Now().Sub(before); went != d {
				t.Errorf("%s(%v) let %v go by", name, d, went)
			}
		}
	}
}

// A run reads the setting that the device has when it starts, though no sweep
// came since it was set.
func TestARunStartsWithTheSettingOfTheMoment(t *testing.T) {
	b := newBench(t, simdevice.UnitOak(), newStore(t))
	for _, watts := range []float64{9, 15, 22} {
		b.Device.SetLimit(watts)
		b.Device.Advance(time.Minute) // by then the setting is due to be read again
		r, err := b.Start(run.Start{Workload: "harbour-flight", Setting: run.Watts(watts)})
		if err != nil {
			t.Fatal(err)
		}
		if r.SettingRead == nil || r.SettingRead.Setting != run.Watts(watts) {
			t.Errorf("set to %v W, the run read %+v", watts, r.SettingRead)
		}
		if err := b.Pass(time.Second); err != nil {
			t.Fatal(err)
		}
		if _, err := b.Stop(run.Stop{}); err != nil {
			t.Fatal(err)
		}
	}
}

// The wall clock goes on while the device sleeps and the monotonic clock stands
// (clock_gettime(2): CLOCK_MONOTONIC "does not count time that the system is
// suspended", man-pages 6.03), so a run lasts as long as it was awake and is
// rejected for the sleep.
func TestASleepIsNoPartOfARun(t *testing.T) {
	b := newBench(t, simdevice.UnitOak(), newStore(t))
	const awake, asleep = 30 * time.Second, 20 * time.Second
	began := b.Now()
	if _, err := b.Start(run.Start{Workload: "harbour-flight", Setting: run.Watts(15)}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := errors.Join(b.Pass(awake/2), b.Suspend(asleep/2)); err != nil {
			t.Fatal(err)
		}
	}
	r, err := b.Stop(run.Stop{})
	if err != nil {
		t.Fatal(err)
	}
	if went := b.Now().Sub(began); went != awake+asleep {
		t.Errorf("%v went by, want %v", went, awake+asleep)
	}
	if r.Seconds() != awake.Seconds() || !r.HasFinding(run.Suspended) {
		t.Errorf("the run lasted %v s with findings %v, want %v s and one that it was suspended", r.Seconds(), r.Findings, awake.Seconds())
	}
}

// step is what a store is asked to do for a run.
type step struct {
	call string
	nth  int // of that call in the run, from 1
}

// badSector is a store that fails once: at one step of one run.
type badSector struct {
	agent.Recorder
	run   int // from 1
	at    step
	begun int
	calls map[string]int // of the run that was begun last
}

func (s *badSector) fails(call string) error {
	s.calls[call]++
	if s.begun == s.run && s.at == (step{call, s.calls[call]}) {
		return errFull
	}
	return nil
}

func (s *badSector) BeginRun(ctx context.Context, d run.Record) error {
	s.begun++
	s.calls = map[string]int{}
	if err := s.fails("begin"); err != nil {
		return err
	}
	return s.Recorder.BeginRun(ctx, d)
}

func (s *badSector) Append(ctx context.Context, b run.Batch) error {
	if b.RunID != "" {
		if err := s.fails("append"); err != nil {
			return err
		}
	}
	return s.Recorder.Append(ctx, b)
}

func (s *badSector) FinishRun(ctx context.Context, d run.Record) error {
	if err := s.fails("finish"); err != nil {
		return err
	}
	return s.Recorder.FinishRun(ctx, d)
}

// Whatever step of a run fails, the day ends with that run: in runs that go as
// planned and in those that go wrong on purpose, one in each of the first three
// blocks.
func TestAnyFailedStepEndsTheDay(t *testing.T) {
	const runs = 9 // of the first three blocks
	for _, at := range []step{{"begin", 1}, {"append", 5}, {"append", 15}, {"finish", 1}} {
		for k := 1; k <= runs; k++ {
			t.Run(fmt.Sprintf("%s %d of run %d", at.call, at.nth, k), func(t *testing.T) {
				b := newBench(t, simdevice.UnitOak(), &badSector{Recorder: newStore(t), run: k, at: at})
				done := 0
				day := simlab.Day{Settings: []float64{9, 15, 22}, Passes: 2, Seed: 1, Mistakes: true, Done: func(n int) { done = n },
					Plays: []simlab.Play{{Workload: simdevice.HarbourFlight(), For: 20 * time.Second}}}
				if err := day.Play(b); !errors.Is(err, errFull) || done != k-1 {
					t.Errorf("error %v after %d runs, want that of the store after %d", err, done, k-1)
				}
			})
		}
	}
}
