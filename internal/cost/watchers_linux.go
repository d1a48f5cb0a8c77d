package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// watchersCase is an agent whose page is open so many times, and what was seen.
type watchersCase struct {
	name      string
	watchers  int
	recording bool
	interval  time.Duration

	cpu      float64 // ms a second
	messages float64 // a second, of each watcher
	missed   float64 // sweeps, of those that the grid wants
	wanted   float64
}

func (b *bench) measureWatchers(ctx context.Context) error {
	span := time.Duration(b.minutes * float64(time.Minute))
	cases := []watchersCase{
		{name: "at rest, nobody looks", interval: 250 * time.Millisecond},
		{name: "at rest, one page", watchers: 1, interval: 250 * time.Millisecond},
		{name: "recording at 10 Hz, nobody looks", recording: true, interval: 100 * time.Millisecond},
		{name: "recording at 10 Hz, 20 pages", watchers: 20, recording: true, interval: 100 * time.Millisecond},
	}
	b.say("open pages: %d agents side by side for %v", len(cases), span)
	errs := make([]error, len(cases))
	var side sync.WaitGroup
	for i := range cases {
		side.Go(func() { errs[i] = b.look(ctx, &cases[i], fmt.Sprintf("watchers-%d", i), span) })
	}
	side.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	out := table{title: "Open pages", columns: []string{"agent of 40 sensors", "CPU, ms a second", "more than without a page", "messages a second to each", "sweeps missed"}}
	for i, c := range cases {
		more, missed := "", ""
		if c.watchers > 0 {
			more = fmt.Sprintf("%+.2f", c.cpu-cases[i-1].cpu)
		}
		if c.recording {
			missed = fmt.Sprintf("%.0f of %.0f", c.missed, c.wanted)
		}
		out.row(c.name, fmt.Sprintf("%.2f", c.cpu), more, fmt.Sprintf("%.1f", c.messages), missed)
	}
	out.row("wanted", "", "0.2 for one page at rest", "", "none")
	out.note = fmt.Sprintf("Side by side for %v. A page that is open asks for nothing while nothing happens: its cost is that of the stream of events, which is what is measured.", span)
	b.tables = append(b.tables, out)
	return nil
}

// look has somebody watch an agent for a span.
func (b *bench) look(ctx context.Context, c *watchersCase, name string, span time.Duration) (err error) {
	h, err := startHandheld(filepath.Join(b.dir, name), 40)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	w, err := startAgent(ctx, b.builds[0].binary, filepath.Join(b.disk, name), c.interval, h.Environ())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.stop()) }()
	if c.recording {
		if err := w.startRun(ctx); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, w.stopRun(ctx)) }()
	}
	looking, stop := context.WithCancel(ctx)
	defer stop()
	heard := make(chan int, c.watchers)
	for range c.watchers {
		go func() { heard <- w.hear(looking) }()
	}
	time.Sleep(2 * time.Second) // connecting is no part of it
	before, err := w.use()
	if err != nil {
		return err
	}
	text, err := w.scrape(ctx)
	if err != nil {
		return err
	}
	begin := time.Now()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(span):
	}
	after, err := w.use()
	if err != nil {
		return err
	}
	seconds := time.Since(begin).Seconds()
	last, err := w.scrape(ctx)
	if err != nil {
		return err
	}
	c.cpu = (after.cpu - before.cpu).Seconds() * 1000 / seconds
	if c.recording {
		// One sweep more or less lies at the edges.
		c.wanted = math.Floor(seconds / c.interval.Seconds())
		c.missed = max(0, c.wanted-1-float64(sweepsTaken(last)-sweepsTaken(text)))
	}
	stop()
	for range c.watchers {
		c.messages += float64(<-heard) / (seconds + 2) / float64(c.watchers)
	}
	return nil
}

// hear counts the messages of a stream of events until the context ends.
func (w *watched) hear(ctx context.Context) (messages int) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, w.url+"/api/v1/events", nil)
	if err != nil {
		return 0
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0
	}
	defer resp.Body.Close()
	for in := bufio.NewScanner(resp.Body); in.Scan(); {
		if strings.HasPrefix(in.Text(), "event: ") {
			messages++
		}
	}
	return messages
}
