package schedule

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/zap"
)

// setClock is a clock that a test sets.
type setClock struct{ t time.Time }

func (c *setClock) now() time.Time { return c.t }

// bench is a runner of one entry under a set clock.
type bench struct {
	t        *testing.T
	clock    setClock
	runner   *Runner
	mu       sync.Mutex
	outcomes []Outcome
	done     int
}

func newBench(t *testing.T, spec, now string, do func() (string, error)) *bench {
	at, err := time.ParseInLocation("2006-01-02 15:04:05", now, zone(t, "Europe/Berlin"))
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, clock: setClock{at}}
	entry := Entry{Name: "test", When: when(t, spec), Do: func(context.Context) (string, error) {
		b.mu.Lock()
		b.done++
		b.mu.Unlock()
		if do == nil {
			return "", nil
		}
		return do()
	}}
	b.runner = NewRunner([]Entry{entry}, b.clock.now, func(o Outcome) {
		b.mu.Lock()
		b.outcomes = append(b.outcomes, o)
		b.mu.Unlock()
	}, zap.NewNop())
	b.runner.setDueTimes(t.Context())
	return b
}

// to sets the clock, has the runner look and wait for what it started.
func (b *bench) to(now string) {
	b.t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04:05", now, b.clock.t.Location())
	if err != nil {
		b.t.Fatal(err)
	}
	b.clock.t = at
	b.look()
}

func (b *bench) look() {
	if sleep := b.runner.startDue(b.t.Context()); sleep <= 0 || sleep > time.Minute {
		b.t.Errorf("sleeps %v, want up to a minute", sleep)
	}
	b.runner.running.Wait()
}

// pass lets the clock go on as it does while a device is awake.
func (b *bench) pass(d time.Duration) {
	for end := b.clock.t.Add(d); b.clock.t.Before(end); b.look() {
		b.clock.t = b.clock.t.Add(min(time.Minute, end.Sub(b.clock.t)))
	}
}

func (b *bench) want(done int, what string) {
	b.t.Helper()
	if b.done != done {
		b.t.Errorf("%s: done %d times, want %d: %v", what, b.done, done, b.outcomes)
	}
}

func TestRunnerOverSuspend(t *testing.T) {
	b := newBench(t, "30 3 * * *", "2026-05-04 22:00:00", nil)
	b.pass(time.Hour)
	b.to("2026-05-05 03:55:00") // slept over it by 25 min
	b.want(1, "woken soon after")
	if o := b.outcomes[0]; o.Status != StatusDone || o.DueAt.UTC().Format("15:04") != "01:30" {
		t.Errorf("%+v", o)
	}
	b.to("2026-05-08 09:00:00") // slept for days
	b.want(1, "woken long after")
	// The 6th at 3:30 went by 53 h 30 min ago; an hour is what entries allow unless
	// they say otherwise.
	if o := b.outcomes[1]; o.Status != StatusLeftOut || len(b.outcomes) != 2 || !strings.HasPrefix(o.Text, "it was due 53h30m0s ago ") || !strings.HasSuffix(o.Text, "more than 1h0m0s") {
		t.Errorf("%+v", b.outcomes)
	}
	b.pass(24 * time.Hour)
	b.want(2, "the next night")
}

func TestRunnerDoesWhatWasMissedOnce(t *testing.T) {
	b := newBench(t, "*/10 * * * *", "2026-05-04 22:00:00", nil)
	b.to("2026-05-04 22:45:00")
	b.want(1, "four times went by, the last 5 min ago")
	b.pass(20 * time.Minute)
	b.want(3, "as before")
}

func TestRunnerOverClockSteps(t *testing.T) {
	b := newBench(t, "30 3 * * *", "2026-05-05 03:00:00", nil)
	b.pass(45 * time.Minute)
	b.want(1, "once")
	b.to("2026-05-05 02:45:00") // back by an hour
	b.pass(2 * time.Hour)
	b.want(1, "not again in the time that comes twice")
	b.to("2026-05-04 12:00:00") // a correction
	b.pass(16 * time.Hour)
	b.want(2, "the corrected time counts")

	b = newBench(t, "0 * * * *", "2026-05-05 03:30:00", nil)
	b.to("2026-05-05 01:30:00") // back by 2 h: an hourly entry does not wait for them
	b.pass(time.Hour)
	b.want(1, "hourly")

	b = newBench(t, "30 3 * * *", "2026-05-05 02:00:00", nil)
	b.to("2026-05-05 04:00:00") // forward
	b.want(1, "set forward over it")
}

func TestRunnerOverDaylightSaving(t *testing.T) {
	b := newBench(t, "30 2 * * *", "2026-03-28 12:00:00", nil)
	b.pass(36 * time.Hour)
	b.want(1, "the night without 02:30")
	b = newBench(t, "30 2 * * *", "2026-10-24 12:00:00", nil)
	b.pass(36 * time.Hour)
	b.want(1, "the night with 02:30 twice")
	b = newBench(t, "0 * * * *", "2026-10-24 23:30:00", nil)
	b.pass(4 * time.Hour)
	b.want(4, "every hour of that night")
}

func TestRunnerTellsHowItWent(t *testing.T) {
	n := 0
	b := newBench(t, "* * * * *", "2026-05-05 03:00:30", func() (string, error) {
		n++
		switch n {
		case 1:
			return "12 runs", nil
		case 2:
			return "", errors.New("planted failure")
		case 3:
			return "", fmt.Errorf("%w: on mains", ErrLeftOut)
		case 4:
			panic("planted panic")
		}
		return "", nil
	})
	b.pass(5 * time.Minute)
	b.want(5, "after a failure and a panic it goes on")
	for i, want := range []Outcome{{Status: StatusDone, Text: "12 runs"}, {Status: StatusFailed, Text: "planted failure"},
		{Status: StatusLeftOut, Text: "left out: on mains"}, {Status: StatusFailed, Text: "a fault in sweepd: planted panic"}, {Status: StatusDone}} {
		if o := b.outcomes[i]; o.Status != want.Status || o.Text != want.Text || o.Entry != "test" {
			t.Errorf("outcome %d: %+v", i, o)
		}
	}
}

// The whole loop, with timers, in a bubble of simulated time: no overlap, and an
// end that waits for what is in progress.
func TestRunnerLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var outcomes []Outcome
		ended := 0
		long := Entry{Name: "long", When: when(t, "@every 1m"), Do: func(ctx context.Context) (string, error) {
			defer func() { ended++ }()
			select {
			case <-time.After(150 * time.Second):
			case <-ctx.Done():
			}
			return "", ctx.Err()
		}}
		r := NewRunner([]Entry{long}, nil, func(o Outcome) { outcomes = append(outcomes, o) }, zap.NewNop())
		ctx, cancel := context.WithCancel(t.Context())
		over := make(chan struct{})
		go func() { r.Run(ctx); close(over) }()
		// Due at 1, 2, 3, ... min; in progress from 1:00 to 3:30 and from 4:00.
		time.Sleep(4*time.Minute + 30*time.Second)
		cancel()
		<-over
		if ended != 2 {
			t.Errorf("%d ended, want 2", ended)
		}
		got := ""
		for _, o := range outcomes {
			got += string(o.Status) + ", "
		}
		if got != "left out, left out, done, failed, " {
			t.Errorf("outcomes %s", got)
		}
	})
}
