package simlab_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/actuators"
	"sweepd/internal/simdevice"
	"sweepd/schedule"
	"sweepd/testday"
)

// A whole day without hands: 2 supplies, 15 settings, 2 variants, 3 repeats, in which 20
// things go wrong. It ends, with nothing but a hand at the plug and one that resumes where
// the day paused; what it says is what the device is made of; and nothing is left changed.
// SWEEPD_DAYS=N plays the days of N seeds.
func TestAWholeDayWithoutHands(t *testing.T) {
	days := 1
	if n, err := strconv.Atoi(os.Getenv("SWEEPD_DAYS")); err == nil {
		days = n
	}
	for seed := range uint64(days) {
		t.Run(fmt.Sprintf("seed %d", 1+seed), func(t *testing.T) {
			w := wholeDayWorld(t, 1+seed)
			synctest.Test(t, func(t *testing.T) { w.t = t; w.wholeDay(3) })
		})
	}
}

func wholeDayWorld(t *testing.T, seed uint64) *world {
	cfg := simdevice.UnitOak()
	cfg.Seed = seed
	cfg.StartOnMains = true
	cfg.BatteryLoss = simdevice.BatteryLoss{Ratio: 0.06, FromW: 14, FullW: 26}
	limit := func(v float64) *float64 { return &v }
	return newWorld(t, worldOptions{config: cfg, plays: 30 * time.Second, seed: seed, guards: testday.GuardLimits{Temperature: 95, Reserve: 0.1},
		allowed: map[string]actuators.Limits{"firmware": {Min: limit(6), Max: limit(40), StepUp: limit(20)}, "cores": {Min: limit(2)}}})
}

// wholeDay plays a day with things that go wrong.
func (w *world) wholeDay(repeats int) {
	t, plays := w.t, w.options.plays
	const mishaps = 20
	request := schedule.Request{Devices: []string{"unit-oak"}, Workloads: []string{"harbour-flight"}, Settings: []string{"8-36/2"},
		Variants: []string{"cores=4", "cores=8"}, Repeats: repeats, Seed: w.options.seed}
	first := w.settings()
	w.mu.Lock()
	w.liveLocked(filepath.Join(t.TempDir(), "data"))
	l := w.life
	w.mu.Unlock()
	made, err := schedule.NewPlan(request, schedule.Estimates{RunDuration: map[string]time.Duration{"": plays}, Pause: time.Minute}, w.wall())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.store.NewPlan(t.Context(), made); err != nil {
		t.Fatal(err)
	}
	w.plantAtRandom(mishaps, len(made.Slots), w.options.seed)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { w.goAlong(ctx); close(ended) }()
	time.Sleep(3 * time.Minute) // it learns how the device idles
	if err := l.day.Start(l.ctx); err != nil {
		t.Fatal(err)
	}
	if _, err := l.day.BeginHandsOff(ctx, testday.BeginHandsOff{Consent: true, By: "the test"}); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	w.person(ctx)
	w.happening.Wait()
	w.mu.Lock()
	l = w.life
	w.mu.Unlock()
	h, err := l.day.HandsOff(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, w.settings()); diff != "" {
		t.Errorf("what is left changed:\n%s", diff)
	}
	if left := l.first.Pending(); len(left) > 0 || len(h.Changed) > 0 {
		t.Errorf("not put back: %v, %v", left, h.Changed)
	}
	t.Logf("%v in simulated time, %d jobs, %d agents, hands %d", time.Since(began).Round(time.Second), w.jobs, w.lives, len(w.did))
	t.Logf("%s\nsummary: %s", h.Why, strings.Join(h.Summary, "\n"))
	if h.State != testday.Over || h.Progress.Left > len(h.Skipped) {
		t.Errorf("%s: %d left, skipped %v", h.State, h.Progress.Left, h.Skipped)
	}
	w.compare(l, "supply", "battery", "mains")
	w.compare(l, "variant", "cores=4", "cores=8")
	cancel()
	<-ended
	l.close()
}

// compare holds what a comparison says against what the device is made of.
func (w *world) compare(l *life, by, a, b string) {
	t := w.t
	t.Helper()
	day := &testday.Day{Store: l.store, Now: w.wall()}
	c, err := testday.CompareRuns.Do(t.Context(), day, testday.CompareRequest{By: by, A: a, B: b})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range c.Comparisons {
		other := ""
		for _, text := range []*string{x.Supply, x.Variant} {
			if text != nil {
				other += *text
			}
		}
		within := 0
		for _, s := range x.Settings {
			truth := w.rate(float64(s.SettingW), a+other)/w.rate(float64(s.SettingW), b+other) - 1
			if truth >= float64(s.Lower) && truth <= float64(s.Upper) {
				within++
			} else {
				t.Logf("%s %s at %v W (%d and %d runs): %.4f to %.4f, in truth %.4f", by, other, s.SettingW, s.NA, s.NB, s.Lower, s.Upper, truth)
			}
			if !(s.Upper-s.Lower < 0.2) {
				t.Errorf("%s %s at %v W: from %.4f to %.4f", by, other, s.SettingW, s.Lower, s.Upper)
			}
		}
		if within < len(x.Settings)-1 || len(x.Settings) < 13 {
			t.Errorf("%s %s: %d of %d settings hold the truth", by, other, within, len(x.Settings))
		}
	}
	if len(c.Comparisons) != 2 {
		t.Errorf("%d comparisons by %s", len(c.Comparisons), by)
	}
}

// rate is the result of the workload without noise at a setting; where says supply and
// variant.
func (w *world) rate(watts float64, where string) float64 {
	cfg := w.options.config
	cfg.NoiseCV, cfg.DriftCV, cfg.SettingW, cfg.StartOnMains = -1, 0, watts, strings.Contains(where, "mains")
	d, err := simdevice.New("", cfg, w.began)
	w.check(err)
	if strings.Contains(where, "cores=4") {
		w.check(d.SetCPUsOnline(4))
	}
	d.HeatTo(40)
	d.StartWorkload(simdevice.HarbourFlight())
	d.Advance(w.options.plays)
	played, _ := d.StopWorkload()
	if math.IsNaN(played.Exact) {
		w.t.Errorf("no truth at %v W, %s", watts, where)
	}
	return played.Exact
}
