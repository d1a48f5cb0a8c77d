package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"sweepd/analysis"
)

// loadTask computes a fixed amount on every CPU and tells how long it took.
type loadTask struct{ Rounds int }

// loadTime is how long a load took, s, and the CPU time that it took: the
// former grows by whatever else runs, the latter only by what that does to
// caches and memory.
type loadTime struct{ Seconds, CPU float64 }

// loadWords is the memory that a worker walks, 2 MB: more than a core's own
// caches, so that a disturbance of these is seen too.
const loadWords = 1 << 18

func (t *loadTask) do() (loadTime, error) {
	begin := time.Now()
	var workers sync.WaitGroup
	sums := make([]uint64, runtime.NumCPU())
	for i := range sums {
		workers.Go(func() { sums[i] = compute(t.Rounds, uint64(i)) })
	}
	workers.Wait()
	took := loadTime{time.Since(begin).Seconds(), usageNow().cpu.Seconds()}
	for i := range sums {
		if sums[i] == 0 {
			return loadTime{}, errors.New("a load computed nothing")
		}
	}
	return took, nil
}

// compute mixes numbers over a table, a xorshift generator (Marsaglia 2003)
// choosing the places.
func compute(rounds int, seed uint64) uint64 {
	words := make([]uint64, loadWords)
	x := seed + 1
	for range rounds {
		for range 1 << 16 {
			x ^= x << 13
			x ^= x >> 7
			x ^= x << 17
			words[x%loadWords] += x
		}
	}
	sum := uint64(1)
	for _, w := range words {
		sum = sum*31 + w | 1
	}
	return sum
}

// loadRounds finds how many rounds take about so long.
func loadRounds(ctx context.Context, want time.Duration) (int, error) {
	rounds := 100
	for {
		var t loadTime
		if err := inChild(ctx, childTask{Load: &loadTask{rounds}}, &t); err != nil {
			return 0, err
		}
		// By CPU time, so that what else runs does not make the load smaller.
		if alone := t.CPU / float64(runtime.NumCPU()); alone >= want.Seconds()/4 {
			return max(1, int(float64(rounds)*want.Seconds()/alone)), nil
		}
		rounds *= 2
	}
}

// tieMargin is the slow-down below which the load counts as undisturbed.
const tieMargin = 0.005

func (b *bench) measureDisturbance(ctx context.Context) (err error) {
	rounds, err := loadRounds(ctx, b.load)
	if err != nil {
		return err
	}
	b.say("a load of about %v, %d times with and without the agent", b.load, b.pairs)
	h, err := newHandheld(filepath.Join(b.dir, "disturb"), 40)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	var runs []analysis.Run
	for i := range b.pairs {
		// Which comes first changes, so that a trend cancels out.
		for _, on := range []bool{i%2 == 0, i%2 != 0} {
			r, err := b.loadRun(ctx, h, rounds, on)
			if err != nil {
				return err
			}
			r.ID = fmt.Sprintf("%03d-%s", i, r.Variant)
			runs = append(runs, r)
		}
	}
	out, err := disturbanceTable(runs)
	if err != nil {
		return err
	}
	b.tables = append(b.tables, out)
	return nil
}

// loadRun runs the load once, beside an agent that records at 10 Hz or alone.
func (b *bench) loadRun(ctx context.Context, h *handheld, rounds int, on bool) (r analysis.Run, err error) {
	r = analysis.Run{Device: "this machine", Workload: "load", Supply: "mains", SettingName: "as it is", Variant: "agent=off"}
	if on {
		r.Variant = "agent=on"
		w, err := startAgent(ctx, b.binary, filepath.Join(b.disk, "disturb"), loopInterval, h.device.Environ())
		if err != nil {
			return r, err
		}
		defer func() { err = errors.Join(err, w.stop()) }()
		if err := w.startRun(ctx); err != nil {
			return r, err
		}
		scraping, stop := context.WithCancel(ctx)
		defer stop()
		go w.scrapeUntil(scraping)
	}
	var t loadTime
	r.StartedAt = time.Now()
	err = inChild(ctx, childTask{Load: &loadTask{rounds}}, &t)
	r.DurationS = t.Seconds
	r.Results = map[string]analysis.Result{
		wallSeconds: {Value: t.Seconds, Unit: "s", LowerIsBetter: true},
		cpuSeconds:  {Value: t.CPU, Unit: "s", LowerIsBetter: true},
	}
	return r, err
}

// scrapeUntil scrapes at the usual pace, the first time in the middle of it.
func (w *watched) scrapeUntil(ctx context.Context) {
	wait := scrapeEvery / 5
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		_, _ = w.scrape(ctx) // a scrape that is cut off by the end is of no interest
		wait = scrapeEvery
	}
}

// The results of a load.
const (
	wallSeconds = "seconds"
	cpuSeconds  = "cpu_seconds"
)

// disturbanceTable compares the runs with and without the agent by the
// project's own analysis.
func disturbanceTable(runs []analysis.Run) (table, error) {
	out := table{title: "A load on every CPU, with the agent and alone",
		columns: []string{"of the load", "runs", "alone, s", "with, s", "more by", "95 % interval", "noise of a run", "verdict within 0.5 %"}}
	for _, what := range []struct{ name, metric string }{{"time", wallSeconds}, {"CPU time", cpuSeconds}} {
		cells, err := disturbance(runs, what.metric)
		if err != nil {
			return out, err
		}
		out.row(append([]string{what.name}, cells...)...)
	}
	out.row("wanted", "", "", "", "0.3 %", "", "", "or tie")
	out.note("The agent records 40 sensors at 10 Hz and is scraped. Compared by the program's own analysis, pairs as blocks. What the agent takes of the CPUs lengthens the time; CPU time shows what it does to caches, and is the steadier of the two on a machine that others use.")
	return out, nil
}

func disturbance(runs []analysis.Run, metric string) ([]string, error) {
	margin := tieMargin
	result, err := analysis.Compare(runs, analysis.CompareRequest{By: "variant", A: "agent=on", B: "agent=off", Metric: metric, Margin: &margin})
	if err != nil {
		return nil, err
	}
	if len(result.Comparisons) != 1 || len(result.Comparisons[0].Settings) != 1 {
		return nil, fmt.Errorf("the analysis gave %d comparisons of %s, one was wanted", len(result.Comparisons), metric)
	}
	c := result.Comparisons[0]
	s := c.Settings[0]
	return []string{
		fmt.Sprintf("%d and %d", s.NA, s.NB), fmt.Sprintf("%.3f", float64(s.MeanB)), fmt.Sprintf("%.3f", float64(s.MeanA)), percent(s.Diff),
		percent(s.Lower) + " to " + percent(s.Upper), fmt.Sprintf("%.2f %%", 100*float64(c.NoiseA)), verdictText(s.Verdict),
	}, nil
}

func percent(x analysis.Number) string {
	if !x.Known() {
		return "unknown"
	}
	return fmt.Sprintf("%+.2f %%", 100*float64(x))
}

func verdictText(v analysis.Verdict) string {
	switch v {
	case analysis.VerdictA:
		return "quicker with the agent"
	case analysis.VerdictB:
		return "slower with the agent"
	}
	return string(v)
}
