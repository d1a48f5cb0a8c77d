package main

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/zap"
)

// A service manager that waits 90 s is fed at 45, 90, ... s while the loop
// answers, and not while it does not (sd_watchdog_enabled(3): "every half of the
// time").
func TestWatchdogIsFedWhileTheLoopAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		type said struct {
			after time.Duration
			what  string
		}
		var mu sync.Mutex
		var heard []said
		var hangs atomic.Bool
		begin := time.Now()
		s := &supervision{every: 90 * time.Second, log: zap.NewNop(),
			tell: func(state string) error {
				mu.Lock()
				defer mu.Unlock()
				heard = append(heard, said{time.Since(begin), state})
				return nil
			},
			alive: func(ctx context.Context) error {
				if hangs.Load() {
					<-ctx.Done()
					return ctx.Err()
				}
				return nil
			}}
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan struct{})
		go func() { s.run(ctx); close(done) }()
		time.Sleep(100 * time.Second) // of the bubble's clock
		hangs.Store(true)
		time.Sleep(100 * time.Second)
		hangs.Store(false)
		time.Sleep(60 * time.Second)
		s.stopping()
		cancel()
		<-done
		want := []said{{0, "READY=1"}, {45 * time.Second, "WATCHDOG=1"}, {90 * time.Second, "WATCHDOG=1"},
			{225 * time.Second, "WATCHDOG=1"}, {260 * time.Second, "STOPPING=1"}}
		if !slices.Equal(heard, want) {
			t.Errorf("told %v, want %v", heard, want)
		}
	})
}

func TestNothingIsSaidOfAnAgentThatNeverBegan(t *testing.T) {
	s := &supervision{every: time.Second, log: zap.NewNop(), tell: func(state string) error { t.Error("said", state); return nil },
		alive: func(context.Context) error { return errors.New("never began") }}
	s.run(context.Background())
}
