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
// It goes by the wall clock and looks at it at least once a minute, because timers
// stand still while a device sleeps and do not notice when its clock is set. An
// entry whose time went by meanwhile is done at once if it is no later than it
// allows, and else told as left out; however many of its times went by, it is done
// once. Where the clock is set back by up to 3 h, entries at fixed hours are not
// done again in the time that comes twice; a larger step is a correction, and the
// new time counts (as cron(8) of Debian has it, from memory).
type Runner struct {
	entries []*runnerEntry
	now     func() time.Time
	keep    func(Outcome)
	log     *zap.Logger

	last    time.Time // the clock when it was looked at last
	running sync.WaitGroup
}

type runnerEntry struct {
	Entry
	due time.Time
	job cron.Job

	mu      sync.Mutex // guards the rest
	ctx     context.Context
	latest  time.Time // due time that the job was started for last
	current time.Time // that of the job in progress
}

const (
	longestSleep = time.Minute
	correction   = 3 * time.Hour
)

// NewRunner prepares the entries. now is nil for the system's clock. keep is told
// every outcome, one at a time.
func NewRunner(entries []Entry, now func() time.Time, keep func(Outcome), log *zap.Logger) *Runner {
	if now == nil {
		now = time.Now
	}
	var one sync.Mutex
	r := &Runner{now: now, log: log, keep: func(o Outcome) {
		one.Lock()
		defer one.Unlock()
		keep(o)
	}}
	for _, e := range entries {
		if e.Late == 0 {
			e.Late = DefaultLate
		}
		x := &runnerEntry{Entry: e}
		// Recovery and no overlap are passed in: the library's default has
		// neither. Recover is the inner one: a panic that passes through
		// SkipIfStillRunning leaves it skipping for ever.
		told := entryLog{r, x}
		x.job = cron.NewChain(cron.SkipIfStillRunning(told), cron.Recover(told)).Then(cron.FuncJob(func() { r.do(x) }))
		r.entries = append(r.entries, x)
	}
	return r
}

// Run does what is due until the context ends, and waits for what is in progress,
// which the context ends too.
func (r *Runner) Run(ctx context.Context) {
	defer r.running.Wait()
	r.begin(ctx)
	for {
		timer := time.NewTimer(r.look(ctx))
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
	}
}

// begin makes every entry due at its next time from now on.
func (r *Runner) begin(ctx context.Context) {
	r.last = r.now().Round(0) // the wall clock alone
	for _, x := range r.entries {
		x.ctx = ctx
		x.due = Next(x.When, r.last)
	}
}

// look starts what is due and says how long to sleep.
func (r *Runner) look(ctx context.Context) time.Duration {
	now := r.now().Round(0)
	back := r.last.Sub(now)
	r.last = now
	sleep := longestSleep
	for _, x := range r.entries {
		if back > 0 && (back > correction || often(x.When)) {
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
	if late := now.Sub(due); late > x.Late {
		r.tell(x, due, WentLeftOut, fmt.Sprintf("it was due %s ago when the device woke up or its clock was set, more than %s",
			late.Round(time.Second), x.Late))
		return
	}
	x.mu.Lock()
	x.latest = due
	x.mu.Unlock()
	r.running.Go(x.job.Run)
}

// do is the innermost part of an entry's job.
func (r *Runner) do(x *runnerEntry) {
	x.mu.Lock()
	due, ctx := x.latest, x.ctx
	x.current = due
	x.mu.Unlock()
	text, err := x.Do(ctx)
	switch {
	case err == nil:
		r.tell(x, due, WentDone, text)
	case errors.Is(err, ErrLeftOut):
		r.tell(x, due, WentLeftOut, err.Error())
	default:
		r.log.Error("an entry of the schedule failed", zap.String("entry", x.Name), zap.Error(err))
		r.tell(x, due, WentFailed, err.Error())
	}
}

func (r *Runner) tell(x *runnerEntry, due time.Time, went Went, text string) {
	r.keep(Outcome{Entry: x.Name, DueAt: run.Stamp(due), EndedAt: run.Stamp(r.now()), Went: went, Text: text})
}

// entryLog hears from the library what became of a job that it skipped or that
// panicked.
type entryLog struct {
	r *Runner
	x *runnerEntry
}

var _ cron.Logger = entryLog{}

// Info is called by SkipIfStillRunning, and by nothing else here.
func (l entryLog) Info(string, ...any) {
	l.x.mu.Lock()
	due := l.x.latest
	l.x.mu.Unlock()
	l.r.tell(l.x, due, WentLeftOut, "the last time is still in progress")
}

// Error is called by Recover.
func (l entryLog) Error(err error, _ string, pairs ...any) {
	l.x.mu.Lock()
	due := l.x.current
	l.x.mu.Unlock()
	l.r.log.Error("an entry of the schedule panicked", zap.String("entry", l.x.Name), zap.Error(err), zap.Any("where", pairs))
	l.r.tell(l.x, due, WentFailed, "a fault in sweepd: "+err.Error())
}
