package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// loadTask computes on every CPU for a time and tells what a round took.
type loadTask struct{ For time.Duration }

// roundCost is what a round of the load took on every CPU, s: the time grows by
// whatever else runs, the CPU time only by what that does to caches and memory.
type roundCost struct{ Seconds, CPU float64 }

// loadWords is the memory that a worker walks, 2 MB: more than a core's own
// caches, so that a disturbance of these is seen too.
const loadWords = 1 << 18

func (t *loadTask) do() (roundCost, error) {
	before, begin := usageNow(), time.Now()
	var workers sync.WaitGroup
	rounds := make([]int, runtime.NumCPU())
	for i := range rounds {
		workers.Go(func() { rounds[i] = compute(t.For, uint64(i)) })
	}
	workers.Wait()
	took, used := time.Since(begin), usageNow().cpu-before.cpu
	done := 0.0
	for _, n := range rounds {
		done += float64(n) / float64(len(rounds))
	}
	return roundCost{took.Seconds() / done, used.Seconds() / done}, nil
}

// compute adds random numbers at random places of a table and gives how many
// rounds of that it did in the time, one at least.
func compute(during time.Duration, seed uint64) (rounds int) {
	words := make([]uint64, loadWords)
	random := rand.NewPCG(seed, 1)
	for begin := time.Now(); rounds == 0 || time.Since(begin) < during; rounds++ {
		for range 1 << 16 {
			x := random.Uint64()
			words[x%loadWords] += x
		}
	}
	return rounds
}

// tieMargin is the slow-down below which the load counts as undisturbed.
const tieMargin = 0.005

func (b *bench) measureDisturbance(ctx context.Context) (err error) {
	b.say("a load of %v, %d times alone and with each build's agent", b.load, b.pairs)
	h, err := startHandheld(filepath.Join(b.dir, "disturb"), 40)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	conditions := append([]build{alone}, b.builds...)
	var runs []run.Run
	for i := range b.pairs {
		// Which comes first changes, so that a trend cancels out.
		for k := range conditions {
			r, err := b.loadRun(ctx, h, conditions[(i+k)%len(conditions)])
			if err != nil {
				return err
			}
			r.ID = fmt.Sprintf("%03d-%s", i, r.Variant)
			runs = append(runs, r)
		}
	}
	out, err := disturbanceTable(runs, b.builds)
	if err != nil {
		return err
	}
	b.tables = append(b.tables, out)
	return nil
}

// alone stands for a load without an agent.
var alone = build{name: "none"}

// variant tells the runs of a load beside a build's agent from the others.
func (b build) variant() run.Variant { return run.Variant("agent=" + b.name) }

// loadRun runs the load once, alone or beside an agent that records at 10 Hz.
func (b *bench) loadRun(ctx context.Context, h *liveDevice, beside build) (r run.Run, err error) {
	r = run.Run{Labels: run.Labels{Device: "this machine", Workload: "load", Setting: run.Named("as it is").From(run.Declared), Supply: "mains", Variant: beside.variant()}}
	if beside != alone {
		w, err := startAgent(ctx, beside.binary, filepath.Join(b.disk, "disturb-"+beside.name), loopInterval, h.Environ())
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
	r.StartedAt = run.Stamp(time.Now())
	round, err := inChild[roundCost](ctx, childTask{Load: &loadTask{b.load}})
	r.Results = map[string]run.Result{
		wallSeconds: {Value: round.Seconds, Unit: "s", Better: run.Lower},
		cpuSeconds:  {Value: round.CPU, Unit: "s", Better: run.Lower},
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

// The results of a load, of each round.
const (
	wallSeconds = "seconds"
	cpuSeconds  = "cpu_seconds"
)

// disturbanceTable compares the runs with the agent of each build with those
// alone, by the project's own analysis.
func disturbanceTable(runs []run.Run, builds []build) (table, error) {
	out := table{title: "A load on every CPU, with the agent and alone",
		columns: []string{"of the load", "build", "runs", "alone, ms a round", "with, ms", "more by", "95 % interval", "noise of a run", "verdict within 0.5 %"}}
	for _, what := range []struct{ name, metric string }{{"time", wallSeconds}, {"CPU time", cpuSeconds}} {
		for _, build := range builds {
			cells, err := disturbance(runs, what.metric, build)
			if err != nil {
				return out, err
			}
			out.row(append([]string{what.name, build.name}, cells...)...)
		}
	}
	out.row("wanted", "", "", "", "", "0.3 %", "", "", "or tie")
	out.note = "The agent records 40 sensors at 10 Hz and is scraped. Compared by the program's own analysis, pairs as blocks. What the agent takes of the CPUs lengthens the time; CPU time shows what it does to caches, and is the steadier of the two on a machine that others use."
	return out, nil
}

func disturbance(runs []run.Run, metric string, with build) ([]string, error) {
	margin := tieMargin
	result, err := analysis.Compare(runs, analysis.CompareRequest{By: "variant", A: string(with.variant()), B: string(alone.variant()), Metric: metric, Margin: &margin})
	if err != nil {
		return nil, err
	}
	if len(result.Comparisons) != 1 || len(result.Comparisons[0].Settings) != 1 {
		return nil, fmt.Errorf("the analysis gave %d comparisons of %s, one was wanted", len(result.Comparisons), metric)
	}
	c := result.Comparisons[0]
	s := c.Settings[0]
	return []string{
		fmt.Sprintf("%d and %d", s.NA, s.NB), fmt.Sprintf("%.4f", 1000*float64(s.MeanB)), fmt.Sprintf("%.4f", 1000*float64(s.MeanA)), percent(s.Diff),
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
