package testday

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"sweepd/run"
)

// Bounds of the time after which a run is stopped.
const (
	shortestTimer = time.Second
	longestTimer  = 24 * time.Hour
)

// StopTimer stops a run after a time that somebody gave. The zero value works; methods may
// be called from any goroutine.
type StopTimer struct {
	mu    sync.Mutex
	run   string
	at    time.Time
	timer *time.Timer
}

// CheckStopAfter tells why no run is stopped so many seconds after its start.
func CheckStopAfter(s float64) error {
	if s == 0 || s >= shortestTimer.Seconds() && s <= longestTimer.Seconds() {
		return nil
	}
	return requestError(errors.New("a run is stopped after 1 second to 24 hours, or 0 for by hand"))
}

// Set has the run that is recording stopped so many seconds after its start, 0 for not at
// all. id is that run's. stop does it, and is called on another goroutine.
func (t *StopTimer) Set(l run.Live, id string, afterS float64, stop func(id string)) error {
	if err := CheckStopAfter(afterS); err != nil {
		return err
	}
	after := time.Duration(afterS * float64(time.Second))
	r := l.Recording
	if r == nil || r.ID != id {
		return fmt.Errorf("run %s: %w", run.ShortID(id), run.ErrEnded)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.timer != nil {
		t.timer.Stop()
	}
	t.run, t.timer = "", nil
	if afterS == 0 {
		return nil
	}
	left := after - l.Now.Wall.Sub(r.StartedAt.Time)
	if left <= 0 {
		return requestError(fmt.Errorf("the run is recording for longer than %v already: stop it now", after))
	}
	t.run, t.at = id, time.Now().Add(left)
	t.timer = time.AfterFunc(left, func() { stop(id) })
	return nil
}

// left is the time until a run is stopped, s; nil where it is not.
func (t *StopTimer) left(id string, now time.Time) *float64 {
	if t == nil {
		return nil
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.run != id {
		return nil
	}
	s := math.Max(0, t.at.Sub(now).Seconds())
	return &s
}

// StopAfter stops a run for its StopTimer.
func StopAfter(a Agent, id string) error {
	_, err := Stop(context.Background(), a, run.Stop{Run: id, IfRecording: true, By: "the time that was set for it"})
	if errors.Is(err, run.ErrEnded) { // somebody was faster
		return nil
	}
	return err
}
