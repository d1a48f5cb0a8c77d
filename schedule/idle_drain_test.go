package schedule

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
)

// drainBench is an agent with one battery, of which a test sets the state.
type drainBench struct {
	mu        sync.Mutex // guards what changes midway
	supply    run.Supply
	charge    float64
	recording *run.Run
	stopped   int
	watts     *float64
	results   map[string]float64
}

func (b *drainBench) Ready(_ context.Context, w run.Want) (run.Readiness, error) {
	r := run.Readiness{Fit: b.supply == w.Supply}
	if !r.Fit {
		r.Reasons = []run.Finding{{Code: run.SupplyChanged, Text: "the device is on mains: unplug it"}}
	}
	return r, nil
}

func (b *drainBench) StartRun(_ context.Context, s run.Start) (run.Run, error) {
	if b.recording != nil {
		return run.Run{}, run.ErrRecording
	}
	b.recording = &run.Run{ID: "run-of-the-schedule", Labels: run.Labels{Workload: s.Workload}}
	return *b.recording, nil
}

func (b *drainBench) StopRun(context.Context, run.Stop) (run.Record, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.recording == nil {
		return run.Record{}, run.ErrNotRecording
	}
	b.recording, b.stopped = nil, b.stopped+1
	return run.Record{Run: run.Run{State: run.Finished, Discharge: &run.Discharge{Watts: b.watts}}}, nil
}

func (b *drainBench) Live() run.Live {
	b.mu.Lock()
	defer b.mu.Unlock()
	return run.Live{Recording: b.recording, ChargeRatio: b.charge, Current: run.Labels{Supply: b.supply}}
}

func (b *drainBench) Correct(_ context.Context, id string, c run.Correction) (run.Record, error) {
	b.results = map[string]float64{}
	for name, r := range c.Results {
		b.results[id+" "+name+" "+r.Unit+" "+string(r.Better)] = r.Value
	}
	return run.Record{}, nil
}

func TestDrain(t *testing.T) {
	w := 4.5
	for name, c := range map[string]struct {
		before, midway func(*drainBench)
		lasts          time.Duration
		stops          int
		says           string
		leftOut        bool
	}{
		"its whole time":  {lasts: time.Hour, stops: 1, says: "finished, 4.50 W"},
		"down to reserve": {midway: func(b *drainBench) { b.charge = 0.05 }, lasts: 30*time.Minute + 10*time.Second, stops: 1, says: "4.50 W"},
		"plugged in":      {midway: func(b *drainBench) { b.supply = run.Mains }, lasts: 30*time.Minute + 10*time.Second, stops: 1, says: "4.50 W"},
		"somebody else's": {midway: func(b *drainBench) { b.recording = &run.Run{ID: "run-of-a-person"} }, lasts: 30*time.Minute + 10*time.Second, says: "stopped by somebody else"},
		"on mains":        {before: func(b *drainBench) { b.supply = run.Mains }, says: "unplug it", leftOut: true},
		"while recording": {before: func(b *drainBench) { b.recording = &run.Run{ID: "run-of-a-person"} }, leftOut: true},
		"unknown":         {before: func(b *drainBench) { b.watts = nil }, lasts: time.Hour, stops: 1, says: "discharge unknown"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := &drainBench{supply: run.Battery, charge: 0.9, watts: &w}
				if c.before != nil {
					c.before(b)
				}
				began := time.Now()
				if c.midway != nil {
					go func() {
						time.Sleep(30*time.Minute + time.Second)
						b.mu.Lock()
						defer b.mu.Unlock()
						c.midway(b)
					}()
				}
				text, err := Drain{Agent: b, Store: b, For: time.Hour, Reserve: 0.1}.Run(t.Context())
				if err != nil {
					text = err.Error()
				}
				if errors.Is(err, ErrLeftOut) != c.leftOut || !c.leftOut && err != nil || !strings.Contains(text, c.says) {
					t.Errorf("%q, %v", text, err)
				}
				if lasted := time.Since(began); lasted != c.lasts || b.stopped != c.stops {
					t.Errorf("lasted %v and was stopped %d times, want %v and %d", lasted, b.stopped, c.lasts, c.stops)
				}
				if (b.results["run-of-the-schedule discharge_w W lower"] == w) != (c.stops > 0 && name != "unknown") {
					t.Errorf("results %v", b.results)
				}
			})
		})
	}
}
