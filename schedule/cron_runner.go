package schedule

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/robfig/cron/v3"
	"go.uber.org/zap"

	"sweepd/run"
)

// Runner does entries when they are due.
//
// It goes by the wall clock and reads it at least once a minute, because timers
// stand still while a device sleeps and do not notice when its clock is set. An
// entry whose time passed meanwhile is done at once if the delay is at most its
// MaxDelay, else its outcome is StatusLeftOut; however many of its times passed, it
// is done once. Where the clock is set back by up to 3 h, entries at fixed hours are
// not done again in the time that is repeated; a larger step is taken for a
// correction, after which the new time counts (as in cron(8) of Debian 12).
type Runner struct {
	entries []*runnerEntry
	now     func() time.Time
	record  func(Outcome)
	log     *zap.Logger

	last    time.Time // the clock when it was read last
	running sync.WaitGroup
}

type runnerEntry struct {
	Entry
	due time.Time
	job cron.Job

	mu         sync.Mutex // guards the rest
	ctx        context.Context
	startedFor time.Time // due time that the job was started for last
	runningFor time.Time // that of the job in progress
}

const (
	longestSleep = time.Minute
	correction   = 3 * time.Hour
)

// NewRunner prepares the entries. now is nil for the system's clock. record is called
// with every outcome, one call at a time.
func NewRunner(entries []Entry, now func() time.Time, record func(Outcome), log *zap.Logger) *Runner {
	if now == nil {
		now = time.Now
	}
	var oneAtATime sync.Mutex
	r := &Runner{now: now, log: log, record: func(o Outcome) {
		oneAtATime.Lock()
		defer oneAtATime.Unlock()
		record(o)
	}}
	for _, e := range entries {
		if e.MaxDelay == 0 {
			e.MaxDelay = DefaultMaxDelay
		}
		x := &runnerEntry{Entry: e}
		// Recovery and no overlap are passed in: the library's default has
		// neither. Recover is the inner one: a panic that passes through
		// SkipIfStillRunning leaves it skipping for ever.
		log := entryLog{r, x}
		x.job = cron.NewChain(cron.SkipIfStillRunning(log), cron.Recover(log)).Then(cron.FuncJob(func() { r.execute(x) }))
		r.entries = append(r.entries, x)
	}
	return r
}

// Run does what is due until the context ends, and waits for what is in progress,
// which the context ends too.
func (r *Runner) Run(ctx context.Context) {
	defer r.running.Wait()
	r.setDueTimes(ctx)
	for {
		timer := time.NewTimer(r.startDue(ctx))
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
	}
}

// setDueTimes sets for every entry the first time from now at which it is due.
func (r *Runner) setDueTimes(ctx context.Context) {
	r.last = r.now().Round(0) // the wall clock alone
	for _, x := range r.entries {
		x.ctx = ctx
		x.due = Next(x.When, r.last)
	}
}

// startDue starts what is due and returns how long to sleep until it is called again.
func (r *Runner) startDue(ctx context.Context) time.Duration {
	now := r.now().Round(0)
	back := r.last.Sub(now)
	r.last = now
	sleep := longestSleep
	for _, x := range r.entries {
		if back > 0 && (back > correction || byElapsedTime(x.When)) {
			x.due = Next(x.When, now)
		}
		if x.due.IsZero() {
			continue
		}
		if !x.due.After(now) {
			r.start(ctx, x, now)
			x.due = Next(x.When, now)
		}
		sleep = min(sleep, x.due.Sub(now))
	}
	return max(sleep, time.Millisecond)
}

func (r *Runner) start(ctx context.Context, x *runnerEntry, now time.Time) {
	due := x.due
	if delay := now.Sub(due); delay > x.MaxDelay {
		r.report(x, due, StatusLeftOut, fmt.Sprintf("it was due %s ago when the device woke up or its clock was set, more than %s",
			delay.Round(time.Second), x.MaxDelay))
		return
	}
	x.mu.Lock()
	x.startedFor = due
	x.mu.Unlock()
	r.running.Go(x.job.Run)
}

// execute does an entry and reports its outcome; the job wraps it.
func (r *Runner) execute(x *runnerEntry) {
	x.mu.Lock()
	due, ctx := x.startedFor, x.ctx
	x.runningFor = due
	x.mu.Unlock()
	text, err := x.Do(ctx)
	switch {
	case err == nil:
		r.report(x, due, StatusDone, text)
	case errors.Is(err, ErrLeftOut):
		r.report(x, due, StatusLeftOut, err.Error())
	default:
		r.log.Error("an entry of the schedule failed", zap.String("entry", x.Name), zap.Error(err))
		r.report(x, due, StatusFailed, err.Error())
	}
}

func (r *Runner) report(x *runnerEntry, due time.Time, status Status, text string) {
	r.record(Outcome{Entry: x.Name, DueAt: run.Stamp(due), EndedAt: run.Stamp(r.now()), Status: status, Text: text})
}

// entryLog is how the library says that it skipped a job or that one panicked; it
// reports these outcomes.
type entryLog struct {
	r *Runner
	x *runnerEntry
}

var _ cron.Logger = entryLog{}

// Info is called by SkipIfStillRunning, and by nothing else here.
func (l entryLog) Info(string, ...any) {
	l.x.mu.Lock()
	due := l.x.startedFor
	l.x.mu.Unlock()
	l.r.report(l.x, due, StatusLeftOut, "the last time is still in progress")
}

// Error is called by Recover.
func (l entryLog) Error(err error, _ string, pairs ...any) {
	l.x.mu.Lock()
	due := l.x.runningFor
	l.x.mu.Unlock()
	l.r.log.Error("an entry of the schedule panicked", zap.String("entry", l.x.Name), zap.Error(err), zap.Any("where", pairs))
	l.r.report(l.x, due, StatusFailed, "a fault in sweepd: "+err.Error())
}
