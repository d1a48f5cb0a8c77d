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
	h, err := startHandheld(filepath.Join(b.dir, "start"), 40)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	ms := make([][]float64, len(b.builds))
	for i := range b.starts {
		for k, build := range b.builds {
			begin := time.Now()
			w, err := startAgent(ctx, build.binary, filepath.Join(b.disk, fmt.Sprintf("start-%s-%d", build.name, i)), loopInterval, h.Environ())
			if err != nil {
				return err
			}
			ms[k] = append(ms[k], time.Since(begin).Seconds()*1000)
			if err := w.stop(); err != nil {
				return err
			}
		}
	}
	out := table{title: "Program and start", columns: []string{"build", "binary, MB", "start to first sweep, ms (median)", "slowest"}}
	for k, build := range b.builds {
		size, err := os.Stat(build.binary)
		if err != nil {
			return err
		}
		out.row(build.name, fmt.Sprintf("%.1f", float64(size.Size())/1e6), fmt.Sprintf("%.0f", median(ms[k])), fmt.Sprintf("%.0f", quantile(1, ms[k])))
	}
	out.row("wanted", "32", "150", "")
	out.note = fmt.Sprintf("%d starts, 40 sensors, a new data folder each time.", b.starts)
	b.tables = append(b.tables, out)
	return nil
}
