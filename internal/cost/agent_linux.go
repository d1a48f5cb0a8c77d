package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// scrapeEvery is how often the agent is asked for metrics.
const scrapeEvery = 5 * time.Second

// agentCase is an agent that is watched, and what was seen.
type agentCase struct {
	build    build
	sensors  int
	interval time.Duration

	cpu           float64 // ms a second
	wakeups       float64 // a second
	anonymous     float64 // MB, largest seen
	resident      float64 // MB, largest seen
	bytesAReading float64
	sweeps        int
}

// agentCases are the pace of 4 and 10 Hz, and how the latter grows.
var agentCases = []agentCase{
	{sensors: 40, interval: 250 * time.Millisecond},
	{sensors: 10, interval: 100 * time.Millisecond},
	{sensors: 40, interval: 100 * time.Millisecond},
	{sensors: 160, interval: 100 * time.Millisecond},
}

func (b *bench) measureAgent(ctx context.Context) error {
	var cases []agentCase
	for _, c := range agentCases {
		for _, c.build = range b.builds {
			cases = append(cases, c)
		}
	}
	span := time.Duration(b.minutes * float64(time.Minute))
	b.say("the whole agent: %d of them side by side for %v", len(cases), span)
	errs := make([]error, len(cases))
	var side sync.WaitGroup
	for i := range cases {
		side.Go(func() { errs[i] = b.watch(ctx, &cases[i], fmt.Sprintf("agent-%d", i), span) })
	}
	side.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	out := table{
		title:   "The whole agent, a run recording, scraped every 5 s",
		columns: []string{"sensors", "sweeps a second", "build", "CPU, ms a second", "wakeups a second", "anonymous memory, MB", "resident, MB", "file, bytes a reading"},
	}
	for _, c := range cases {
		out.row(fmt.Sprint(c.sensors), fmt.Sprintf("%.0f", 1/c.interval.Seconds()), c.build.name, fmt.Sprintf("%.2f", c.cpu), fmt.Sprintf("%.1f", c.wakeups),
			fmt.Sprintf("%.1f", c.anonymous), fmt.Sprintf("%.1f", c.resident), fmt.Sprintf("%.2f", c.bytesAReading))
	}
	out.row("wanted: 40", "4 and 10", "", "2.5", "", "8", "", "2.5")
	out.note = fmt.Sprintf("Side by side for %v, on simulated devices whose files change ten times a second. Memory is the largest seen. The file is the whole growth by the run, the sensors' descriptions, summaries and index included.", span)
	b.tables = append(b.tables, out)
	return nil
}

// watch sees what an agent uses while it records a run of a span, and how much
// larger its file is than after a run of next to nothing.
func (b *bench) watch(ctx context.Context, c *agentCase, name string, span time.Duration) (err error) {
	h, err := startHandheld(filepath.Join(b.dir, name), c.sensors)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	data := filepath.Join(b.disk, name)
	empty, err := c.record(ctx, data, h, func(*watched) error { return nil })
	if err != nil {
		return err
	}
	full, err := c.record(ctx, data, h, func(w *watched) error { return c.scrapeAndSee(ctx, w, span) })
	c.bytesAReading = float64(full-empty) / float64(c.sweeps*c.sensors)
	return err
}

// record has an agent record a run while something is done, and gives the size
// of its data file once it has closed it.
func (c *agentCase) record(ctx context.Context, data string, h *liveDevice, meanwhile func(*watched) error) (int64, error) {
	w, err := startAgent(ctx, c.build.binary, data, c.interval, h.Environ())
	if err != nil {
		return 0, err
	}
	err = w.startRun(ctx)
	if err == nil {
		err = errors.Join(meanwhile(w), w.stopRun(ctx))
	}
	if err := errors.Join(err, w.stop()); err != nil {
		return 0, err
	}
	info, err := os.Stat(filepath.Join(data, "sweepd.db"))
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

// scrapeAndSee scrapes for a span and sees what the agent uses.
func (c *agentCase) scrapeAndSee(ctx context.Context, w *watched, span time.Duration) error {
	first, begin := processUse{}, time.Time{}
	start := time.Now()
	for n := 0; ; n++ {
		text, err := w.scrape(ctx)
		if err != nil {
			return err
		}
		u, err := w.use()
		if err != nil {
			return err
		}
		if n == 1 { // the first scrape makes the series
			first, begin = u, time.Now()
		}
		c.anonymous, c.resident = max(c.anonymous, u.anonymous), max(c.resident, u.resident)
		if n > 1 && time.Since(start) >= span {
			seconds := time.Since(begin).Seconds()
			c.cpu = (u.cpu - first.cpu).Seconds() * 1000 / seconds
			c.wakeups = (float64(u.switches) - float64(first.switches)) / seconds
			c.sweeps = sweepsTaken(text)
			return nil
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(min(scrapeEvery, max(span/3, 100*time.Millisecond))):
		}
	}
}
