package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/store/sqlite"
)

// The demonstration's day.
var (
	demoStart    = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	demoSettings = []float64{5, 6, 8, 10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 54}
	demoPasses   = 3
)

func demoDay(seed uint64) simlab.Day {
	sort := simdevice.TileSort()
	sort.Work = 700
	return simlab.Day{
		Settings: demoSettings, Passes: demoPasses, Mistakes: true, Seed: seed,
		Plays: []simlab.Play{{Workload: simdevice.HarbourFlight(), For: time.Minute}, {Workload: sort}},
	}
}

// playDemo records the simulated day of both devices, or of the one named only,
// into dir.
func (a *app) playDemo(ctx context.Context, dir, only string) (err error) {
	s, err := sqlite.Open(dir, sqlite.Options{})
	if err != nil {
		return err
	}
	defer func() {
		if cerr := s.Close(); err == nil {
			err = cerr
		}
	}()
	devices := []simdevice.Config{simdevice.UnitOak(), simdevice.UnitElm()}
	played := len(devices)
	if only != "" {
		played = 1
	}
	bar := progress(a.err, played*demoDay(0).Runs(), "playing a test day")
	for i, cfg := range devices {
		if only != "" && cfg.Name != only {
			continue
		}
		if err := playDevice(ctx, cfg, demoDay(uint64(i+1)), s, bar); err != nil {
			return fmt.Errorf("simulate %s: %w", cfg.Name, err)
		}
	}
	return bar.Finish()
}

func playDevice(ctx context.Context, cfg simdevice.Config, day simlab.Day, rec agent.Recorder, bar *progressbar.ProgressBar) error {
	tree, err := simdevice.MakeTempDir("sweepd-demo")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tree)
	cfg.StartOnMains, cfg.ChargerW = true, 100
	b, err := simlab.New(tree, cfg, simlab.Options{
		Recorder: rec, Collectors: machine, Start: demoStart, Seed: cfg.Seed,
		Facts: func(r collectors.Roots) map[string]string { return collectors.ReadFacts(r) },
	})
	if err != nil {
		return err
	}
	day.Done = func(int) { _ = bar.Add(1) }
	if err := day.Play(b); err != nil {
		_ = b.Close()
		return err
	}
	return b.Close()
}
