package simlab_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
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
			w := handsOffWorld(t, 30*time.Second, 1+seed)
			synctest.Test(t, func(t *testing.T) { w.t = t; w.wholeDay() })
		})
	}
}

// Each kind of mishap alone, in a day of four runs.
func TestEachMishapAlone(t *testing.T) {
	for i, m := range (&world{}).mishaps() {
		t.Run(m.name, func(t *testing.T) {
			w := handsOffWorld(t, 20*time.Second, 3)
			m := w.mishaps()[i]
			w.happens = func(job int) mishap {
				if job == 1 {
					return m
				}
				return mishap{}
			}
			synctest.Test(t, func(t *testing.T) {
				w.t = t
				w.play(schedule.Request{Settings: []string{"12W", "24W"}, Supplies: []string{"mains"}, Variants: []string{"cores=4", "cores=8"}, Repeats: 1}, func(*life, testday.HandsOff) {
					told := slices.ContainsFunc(w.said, func(text string) bool {
						return !strings.HasPrefix(text, "job ") && regexp.MustCompile(m.tells).MatchString(text)
					})
					if w.came != 1 || !told {
						t.Errorf("it came about %d times, and nothing says %q", w.came, m.tells)
					}
				})
			})
		})
	}
}

// handsOffWorld is a device that does plans of 6 to 40 W and with 2 cores and more.
func handsOffWorld(t *testing.T, plays time.Duration, seed uint64) *world {
	cfg := simdevice.UnitOak()
	cfg.Seed = seed
	cfg.StartOnMains = true
	cfg.Reverts = simdevice.Reverts{OnResume: true, OnPlug: true} // as some firmware does
	cfg.BatteryLoss = simdevice.BatteryLoss{Ratio: 0.06, FromW: 14, FullW: 26}
	limit := func(v float64) *float64 { return &v }
	return newWorld(t, worldOptions{config: cfg, plays: plays, seed: seed, guards: testday.GuardLimits{Temperature: 95, Reserve: 0.1},
		allowed: map[string]actuators.Limits{"firmware": {Min: limit(6), Max: limit(40), StepUp: limit(20)}, "cores": {Min: limit(2)}}})
}

// wholeDay plays a day with things that go wrong.
func (w *world) wholeDay() {
	const mishaps = 20
	q := schedule.Request{Settings: []string{"8-36/2"}, Variants: []string{"cores=4", "cores=8"}, Repeats: 3}
	w.plantAtRandom(mishaps, 180, w.options.seed)
	w.play(q, func(l *life, h testday.HandsOff) {
		w.t.Logf("hands %d, summary: %s", h.Hands, strings.Join(h.Summary, "\n"))
		if w.came != mishaps {
			w.t.Errorf("%d of %d mishaps came about", w.came, mishaps)
		}
		// A limit that lies upward cannot always be told from a workload that wants less: the
		// summary names the run then, and its setting is known less well.
		told := strings.Contains(strings.Join(h.Summary, "\n"), "may not have been in force")
		w.compare(l, "supply", "battery", "mains", told)
		w.compare(l, "variant", "cores=4", "cores=8", told)
	})
}

// play has the device do a plan, and holds what every day owes: it ends, nothing is left that
// could be done, nothing is left changed, and nobody was needed but for the plug, and to make
// room on a full disk.
func (w *world) play(q schedule.Request, then func(l *life, h testday.HandsOff)) {
	t, plays := w.t, w.options.plays
	q.Devices, q.Workloads, q.Seed = []string{"unit-oak"}, []string{"harbour-flight"}, w.options.seed
	first := w.settings()
	w.mu.Lock()
	w.liveLocked(filepath.Join(t.TempDir(), "data"))
	l := w.life
	w.mu.Unlock()
	made, err := schedule.NewPlan(q, schedule.Estimates{RunDuration: map[string]time.Duration{"": plays}, Pause: time.Minute}, w.wall())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.store.NewPlan(t.Context(), made); err != nil {
		t.Fatal(err)
	}
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
	if h.State != testday.Over || h.Progress.Left != 0 || len(h.Skipped) > 0 {
		t.Errorf("%s: %d left, skipped %v", h.State, h.Progress.Left, h.Skipped)
	}
	for _, did := range w.did {
		if !strings.HasPrefix(did, "plug") && !strings.HasPrefix(did, "unplug") && !strings.Contains(did, errFullDisk.Error()) {
			t.Errorf("a person had to: %s", did)
		}
	}
	t.Logf("%v in simulated time, %d jobs for %d runs, %d agents, a person did %d things", time.Since(began).Round(time.Second), w.jobs, len(made.Slots), w.lives, len(w.did))
	then(l, h)
	cancel()
	<-ended
	l.close()
}

// compare holds what a comparison says against what the device is made of; told says that
// the day named a run whose limit may not have been in force.
func (w *world) compare(l *life, by, a, b string, told bool) {
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
			if !(s.Upper-s.Lower < 0.2) && !told {
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
