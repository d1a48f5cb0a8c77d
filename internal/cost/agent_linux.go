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

// agentCase is one agent that is watched, and what was seen.
type agentCase struct {
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
	span := time.Duration(b.minutes * float64(time.Minute))
	b.say("the whole agent: %d of them side by side for %v", len(agentCases), span)
	cases := append([]agentCase(nil), agentCases...)
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
		columns: []string{"sensors", "sweeps a second", "CPU, ms a second", "wakeups a second", "anonymous memory, MB", "resident, MB", "file, bytes a reading"},
	}
	for _, c := range cases {
		out.row(fmt.Sprint(c.sensors), fmt.Sprintf("%.0f", 1/c.interval.Seconds()), fmt.Sprintf("%.2f", c.cpu), fmt.Sprintf("%.1f", c.wakeups),
			fmt.Sprintf("%.1f", c.anonymous), fmt.Sprintf("%.1f", c.resident), fmt.Sprintf("%.2f", c.bytesAReading))
	}
	out.row("wanted: 40", "4 and 10", "2.5", "", "8", "", "2.5")
	out.note("Side by side for %v, on simulated devices whose files change ten times a second. Memory is the largest seen. The file is the whole growth by the run, the sensors' descriptions, summaries and index included.", span)
	b.tables = append(b.tables, out)
	return nil
}

// watch runs one agent through a run of a span.
func (b *bench) watch(ctx context.Context, c *agentCase, name string, span time.Duration) (err error) {
	h, err := newHandheld(filepath.Join(b.dir, name), c.sensors)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	data := filepath.Join(b.disk, name)
	environ := h.device.Environ()
	if err := b.shortRun(ctx, data, c.interval, environ); err != nil {
		return err
	}
	empty, err := dataSize(data)
	if err != nil {
		return err
	}
	w, err := startAgent(ctx, b.binary, data, c.interval, environ)
	if err != nil {
		return err
	}
	if err := c.follow(ctx, w, span); err != nil {
		return errors.Join(err, w.stop())
	}
	if err := w.stop(); err != nil {
		return err
	}
	full, err := dataSize(data)
	c.bytesAReading = float64(full-empty) / float64(c.sweeps*c.sensors)
	return err
}

// shortRun leaves behind the data of an agent that did nearly nothing.
func (b *bench) shortRun(ctx context.Context, data string, interval time.Duration, environ []string) error {
	w, err := startAgent(ctx, b.binary, data, interval, environ)
	if err != nil {
		return err
	}
	return errors.Join(w.startRun(ctx), w.stopRun(ctx), w.stop())
}

// dataSize is the size of a data file, whose log is gone once it is closed.
func dataSize(data string) (int64, error) {
	info, err := os.Stat(filepath.Join(data, "sweepd.db"))
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

// follow records a run, scrapes, and sees what the agent uses.
func (c *agentCase) follow(ctx context.Context, w *watched, span time.Duration) error {
	if err := w.startRun(ctx); err != nil {
		return err
	}
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
			c.wakeups = float64(u.switches-first.switches) / seconds
			c.sweeps = swept(text)
			return w.stopRun(ctx)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(min(scrapeEvery, max(span/3, 100*time.Millisecond))):
		}
	}
}
