package schedule

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
)

func TestParseIdle(t *testing.T) {
	for _, spec := range []string{
		"@every 10s", "@every 1s", "@every 1h", "@hourly", "* * * * *", "0 * * * *", "*/5 * * * * *", "* * * * * *", "59 59 * * * *",
	} {
		if _, err := ParseIdleSweeps(spec); err != nil {
			t.Errorf("ParseIdle(%q): %v", spec, err)
		}
	}
	for spec, want := range map[string]string{
		"":                  "neither a cron expression",
		"often":             "neither a cron expression",
		"@every":            "neither a cron expression",
		"@every 200ms":      "not between 1 s and 1 h",
		"@every 2h":         "not between 1 s and 1 h",
		"@every -5s":        "not between 1 s and 1 h",
		"@every ten":        "no time such as",
		"@daily":            "without a sweep",
		"0 */2 * * *":       "without a sweep",
		"* 9-17 * * *":      "without a sweep",
		"* * * * 1-5":       "without a sweep",
		"0 0 30 2 *":        "without a sweep",
		"61 * * * *":        "neither a cron expression",
		"* * * * * * * * *": "neither a cron expression",
	} {
		if _, err := ParseIdleSweeps(spec); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("ParseIdle(%q): got %v, want an error with %q", spec, err, want)
		}
	}
}

// sweeperFunc is a Sweeper.
type sweeperFunc func(context.Context) error

func (f sweeperFunc) SweepIdle(ctx context.Context) error { return f(ctx) }

func TestIdleOutlivesBadSweeps(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		core, logged := observer.New(zap.ErrorLevel)
		calls := 0
		idle, err := StartIdleSweeps("@every 10s", sweeperFunc(func(context.Context) error {
			calls++
			switch calls {
			case 1:
				panic("planted")
			case 2:
				return errors.New("planted failure")
			}
			return nil
		}), zap.New(core))
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(35 * time.Second)
		synctest.Wait()
		idle.Stop()
		idle.Stop()
		if calls != 3 {
			t.Errorf("%d sweeps in 35 s, want 3", calls)
		}
		if n := logged.Len(); n != 2 {
			t.Errorf("%d errors logged, want the panic and the failure: %v", n, logged.All())
		}
	})
}

func TestIdleSkipsWhileOneRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var running, most, calls atomic.Int32
		idle, err := StartIdleSweeps("@every 1s", sweeperFunc(func(context.Context) error {
			calls.Add(1)
			if n := running.Add(1); n > most.Load() {
				most.Store(n)
			}
			time.Sleep(3500 * time.Millisecond)
			running.Add(-1)
			return nil
		}), zap.NewNop())
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(9 * time.Second)
		idle.Stop()
		if most.Load() != 1 {
			t.Errorf("%d sweeps at once", most.Load())
		}
		if n := calls.Load(); n != 3 { // at 1, 5 and 9 s
			t.Errorf("%d sweeps in 9 s of which each takes 3.5 s, want 3", n)
		}
		if running.Load() != 0 {
			t.Error("Stop did not wait for the sweep in progress")
		}
	})
}

func TestIdleStopCancels(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		idle, err := StartIdleSweeps("", sweeperFunc(func(ctx context.Context) error {
			<-ctx.Done()
			return ctx.Err()
		}), zap.NewNop())
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(11 * time.Second) // DefaultIdleSweeps is every 10 s
		idle.Stop()
	})
}
