package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

func (b *bench) measureStart(ctx context.Context) (err error) {
	b.say("starting the agent %d times", b.starts)
	h, err := newHandheld(filepath.Join(b.dir, "start"), 40)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	var answered, firstSweep []float64
	for i := range b.starts {
		a, s, err := b.startOnce(ctx, filepath.Join(b.disk, fmt.Sprintf("start-%d", i)), h.device.Environ())
		if err != nil {
			return err
		}
		answered, firstSweep = append(answered, a), append(firstSweep, s)
	}
	size, err := os.Stat(b.binary)
	if err != nil {
		return err
	}
	out := table{title: "Program and start", columns: []string{"what", "seen", "wanted"}}
	out.row("binary, MB", fmt.Sprintf("%.1f", float64(size.Size())/1e6), "32")
	out.row("start until it answers, ms (median)", fmt.Sprintf("%.0f", median(answered)), "")
	out.row("start to first sweep, ms (median)", fmt.Sprintf("%.0f", median(firstSweep)), "150")
	out.row("start to first sweep, ms (slowest)", fmt.Sprintf("%.0f", quantile(1, firstSweep)), "")
	out.note("%d starts, 40 sensors, a new data folder each time.", b.starts)
	b.tables = append(b.tables, out)
	return nil
}

// startOnce gives the milliseconds from the start until the agent answers and
// until it has taken a sweep.
func (b *bench) startOnce(ctx context.Context, data string, environ []string) (answered, firstSweep float64, err error) {
	if err := os.MkdirAll(data, 0o755); err != nil {
		return 0, 0, err
	}
	begin := time.Now()
	w, err := startAgent(ctx, b.binary, data, loopInterval, environ)
	if err != nil {
		return 0, 0, err
	}
	defer func() { err = errors.Join(err, w.stop()) }()
	answered = time.Since(begin).Seconds() * 1000
	for deadline := begin.Add(30 * time.Second); ; time.Sleep(time.Millisecond) {
		text, err := w.scrape(ctx)
		if err != nil {
			return 0, 0, err
		}
		if swept(text) > 0 {
			return answered, time.Since(begin).Seconds() * 1000, nil
		}
		if time.Now().After(deadline) {
			return 0, 0, errors.New("no sweep within 30 s of the start")
		}
	}
}
