package testday

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
	"sweepd/store"
)

var (
	hot      = run.Reason{Finding: run.Finding{Code: run.HotStart, Text: "package is at 58 °C, target 46 °C", Advice: "let it cool"}, Target: new(46.0)}
	cooling  = run.Reason{Finding: hot.Finding, Target: new(46.0), ExpectedS: new(140.0)}
	busy     = run.Reason{Finding: run.Finding{Code: run.BusyStart, Text: "the processor is 60 % busy (allowed: 30 %)", Advice: "end what runs"}, Target: new(0.3)}
	mainsNow = run.Reason{Finding: run.Finding{Code: run.SupplyChanged, Text: "the device is on mains, the run wants battery", Advice: "unplug it"}, ByHand: true}
)

// The outcomes of a ready check mean what they say: fit, not yet, and not without a hand.
func TestReadySentence(t *testing.T) {
	celsius, above, below := 51.23, 3.0, -2.5
	for want, r := range map[string]run.Readiness{
		"fit to start: 51.2 °C, 3.0 K above its idle baseline": {Fit: true, Celsius: &celsius, AboveBaseline: &above},
		"fit to start: 51.2 °C, 2.5 K below its idle baseline": {Fit: true, Celsius: &celsius, AboveBaseline: &below},
		"fit to start (its idle temperature is not known yet)": {Fit: true, Celsius: &celsius},

		"not yet fit to start: package is at 58 °C, target 46 °C, about 3 min":                                                                      {Reasons: []run.Reason{cooling}},
		"not yet fit to start: package is at 58 °C, target 46 °C, for how long cannot be told yet":                                                  {Reasons: []run.Reason{hot}},
		"not yet fit to start: the processor is 60 % busy (allowed: 30 %); end what runs; the device is on mains, the run wants battery; unplug it": {Reasons: []run.Reason{busy, mainsNow}},
		"not fit to start, and waiting does not help: the device is on mains, the run wants battery; unplug it":                                     {Reasons: []run.Reason{mainsNow}},
	} {
		if got := ReadySentence(r); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if got, want := FitSentence(run.Readiness{Reasons: []run.Reason{busy, mainsNow}}), "fit to start by now; a moment before: the processor is 60 % busy (allowed: 30 %); the device is on mains, the run wants battery"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if r := (run.Readiness{Fit: true}); FitSentence(r) != ReadySentence(r) {
		t.Errorf("got %q", FitSentence(r))
	}
	f := &fakeAgent{}
	if r, err := Ready(t.Context(), f, run.Want{Supply: run.Battery}); err != nil || !r.Fit || r.Reasons == nil || f.wanted.Supply != run.Battery {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestWaitReady(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeAgent{reasons: []run.Reason{hot}}
		told, start := 0, time.Now()
		if r, err := WaitReady(t.Context(), f, run.Want{Supply: run.Mains}, false, func(r run.Readiness) { told += len(r.Reasons) }); err != nil || !r.Fit {
			t.Fatal(r, err)
		}
		if told != 2 || time.Since(start) != 2*readyPause || f.wanted.Supply != run.Mains {
			t.Errorf("told %d times in %v of %+v", told, time.Since(start), f.wanted)
		}
		f.asked = 0
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := WaitReady(ctx, f, run.Want{}, true, func(run.Readiness) {}); !errors.Is(err, context.DeadlineExceeded) || err.Error() != "not started" {
			t.Errorf("given up: %v", err)
		}
		f.err = errAway
		if _, err := WaitReady(t.Context(), f, run.Want{}, true, func(run.Readiness) { t.Error("nothing is known") }); !errors.Is(err, errAway) {
			t.Errorf("away: %v", err)
		}
	})
}

// What only a hand can change is waited for while somebody reads it, else not for long.
func TestWaitReadyForAHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeAgent{reasons: []run.Reason{mainsNow}, asked: -1 << 20}
		start, told := time.Now(), ""
		_, err := WaitReady(t.Context(), f, run.Want{}, false, func(r run.Readiness) { told = WaitingSentence(r) })
		if err == nil || err.Error() != "not started, and waiting does not help: the device is on mains, the run wants battery; unplug it" || time.Since(start) != handWait {
			t.Errorf("after %v: %v", time.Since(start), err)
		}
		if !strings.HasPrefix(told, "waiting for you: the device is on mains") {
			t.Errorf("told %q", told)
		}
		f.asked = 2 - 100 // unplugged in the end
		if r, err := WaitReady(t.Context(), f, run.Want{}, true, func(run.Readiness) {}); err != nil || !r.Fit {
			t.Errorf("somebody is there: %+v, %v", r, err)
		}
		f.reasons, f.asked = []run.Reason{mainsNow, busy}, 2-100 // and the load goes
		if r, err := WaitReady(t.Context(), f, run.Want{}, false, func(run.Readiness) {}); err != nil || !r.Fit {
			t.Errorf("part of it goes by waiting: %+v, %v", r, err)
		}
	})
}

// What is usual in a cell counts, or else for the workload on the device.
func TestEarlierStarts(t *testing.T) {
	s := openStore(t)
	day(t, s)
	for name, c := range map[string]struct {
		cell run.Cell
		want int
	}{
		"the cell":              {run.Cell{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(8)}, 3},
		"another setting":       {run.Cell{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(9)}, 9},
		"an unknown setting":    {run.Cell{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains}, 9},
		"another workload":      {run.Cell{Device: "unit-oak", Workload: "harbour-flight"}, 0},
		"another device":        {run.Cell{Device: "unit-elm", Workload: "tile-sort"}, 0},
		"one that was not kept": {run.Cell{Device: "unit-oak", Workload: "tile-sort", Supply: run.Battery, Setting: run.Watts(16)}, 2},
	} {
		list, err := EarlierStarts(t.Context(), s, c.cell)
		if err != nil || len(list) != c.want {
			t.Errorf("%s: %d starts, %v; want %d", name, len(list), err, c.want)
		}
	}
	failsWhereItsStoreDoes(t, s, []string{"Records"}, func(s store.Store) error {
		_, err := EarlierStarts(t.Context(), s, run.Cell{Device: "unit-oak"})
		return err
	})
}

// A declared setting goes with the device's name.
func TestRenamedDeclaration(t *testing.T) {
	s := openStore(t)
	ctx := t.Context()
	d := run.Declaration{Setting: run.Watts(15), At: run.Stamp(morning), By: BySetting}
	keep := func(device string, d run.Declaration) {
		t.Helper()
		if err := s.KeepDeclaration(ctx, device, d); err != nil {
			t.Fatal(err)
		}
	}
	wants := func(device string, want run.Setting) {
		t.Helper()
		if got, err := s.Declaration(ctx, device); err != nil || got.Setting != want {
			t.Errorf("%s: %+v, %v, want %s", device, got, err, want)
		}
	}
	keep("unit-oak", d)
	for range 2 {
		if err := moveDeclaration(ctx, s, "unit-oak", "unit-ash"); err != nil {
			t.Fatal(err)
		}
		wants("unit-oak", run.Setting{})
		wants("unit-ash", run.Watts(15))
	}
	keep("unit-oak", run.Declaration{Setting: run.Watts(20), At: d.At})
	if err := moveDeclaration(ctx, s, "unit-oak", "unit-ash"); err != nil {
		t.Fatal(err)
	}
	wants("unit-ash", run.Watts(15)) // what was declared for it counts
}
