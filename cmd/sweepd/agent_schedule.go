package main

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
	"sweepd/testday"
)

// startSchedule does the entries of the configuration until it is stopped.
func (w *watcher) startSchedule(ctx context.Context, c config) (stop func(), err error) {
	entries, err := w.entries(c)
	if err != nil {
		return nil, err
	}
	runner := schedule.NewRunner(entries, nil, func(o schedule.Outcome) {
		if err := w.data.KeepOutcome(context.WithoutCancel(ctx), o); err != nil {
			w.log.Error("how an entry of the schedule went could not be stored", zap.String("entry", o.Entry), zap.Error(err))
		}
	}, w.log)
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if len(entries) > 0 {
			runner.Run(ctx)
		}
	}()
	return func() { cancel(); <-ended }, nil
}

func (w *watcher) entries(c config) ([]schedule.Entry, error) {
	var list []schedule.Entry
	for _, s := range c.Schedule {
		when, err := schedule.ParseSchedule(s.When)
		if err != nil {
			return nil, err
		}
		e := schedule.Entry{Name: s.name(), When: when, MaxDelay: s.Late.Duration}
		switch s.Do {
		case doUpkeep:
			e.Do = func(ctx context.Context) (string, error) {
				return "", w.data.Upkeep(ctx, s.KeepIdle.Duration, time.Now())
			}
		case doIdleDrain:
			e.Do = schedule.IdleDrain{Agent: w.sampler, Store: w.data, Duration: cmp.Or(s.For.Duration, defaultDrain),
				Reserve: cmp.Or(c.Thresholds.Reserve, run.LowCharge)}.Run
		case doExport:
			e.Do = func(ctx context.Context) (string, error) { return exportTo(ctx, w.data, s, time.Now()) }
		}
		list = append(list, e)
	}
	return list, nil
}

// exportPatience is how long an export may take, so that a pipe without a reader holds
// nothing else up for long.
const exportPatience = 10 * time.Minute

// exportTo writes all runs to a file; {date} in its path is the day.
func exportTo(ctx context.Context, data store.Store, s scheduled, now time.Time) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, exportPatience)
	defer cancel()
	path := testday.ExportPath(s.Out, now)
	if err := testday.Export(ctx, data, store.Filter{}, s.As, path); err != nil {
		return "", err
	}
	return fmt.Sprintf("wrote %s", path), nil
}
