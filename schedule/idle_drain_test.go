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
		r.Reasons = []run.Reason{{Finding: run.Finding{Code: run.SupplyChanged, Text: "the device is on mains: unplug it"}}}
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
				text, err := IdleDrain{Agent: b, Store: b, Duration: time.Hour, Reserve: 0.1}.Run(t.Context())
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

// failingBench fails at one step.
type failingBench struct {
	drainBench
	at string
}

var errBench = errors.New("no space left on device")

func (b *failingBench) fails(step string) error {
	if b.at == step {
		return errBench
	}
	return nil
}

func (b *failingBench) Ready(ctx context.Context, w run.Want) (run.Readiness, error) {
	if err := b.fails("ready"); err != nil {
		return run.Readiness{}, err
	}
	return b.drainBench.Ready(ctx, w)
}

func (b *failingBench) StartRun(ctx context.Context, s run.Start) (run.Run, error) {
	if err := b.fails("start"); err != nil {
		return run.Run{}, err
	}
	return b.drainBench.StartRun(ctx, s)
}

func (b *failingBench) StopRun(ctx context.Context, s run.Stop) (run.Record, error) {
	if err := errors.Join(ctx.Err(), b.fails("stop")); err != nil {
		return run.Record{}, err
	}
	return b.drainBench.StopRun(ctx, s)
}

func (b *failingBench) Correct(ctx context.Context, id string, c run.Correction) (run.Record, error) {
	if err := errors.Join(ctx.Err(), b.fails("result")); err != nil {
		return run.Record{}, err
	}
	return b.drainBench.Correct(ctx, id, c)
}

// A run that fails at any step is told as failed, not as left out, and not as done.
func TestDrainFails(t *testing.T) {
	for _, step := range []string{"ready", "start", "stop", "result"} {
		synctest.Test(t, func(t *testing.T) {
			w := 4.5
			b := &failingBench{drainBench: drainBench{supply: run.Battery, charge: 0.9, watts: &w}, at: step}
			if _, err := (IdleDrain{Agent: b, Store: b, Duration: time.Hour, Reserve: 0.1}).Run(t.Context()); !errors.Is(err, errBench) || errors.Is(err, ErrLeftOut) {
				t.Errorf("%s fails: error %v", step, err)
			}
		})
	}
}

// When the agent ends, the run ends with all that is known, though what ended it
// would cancel every call.
func TestDrainEndsWithTheAgent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := 4.5
		b := &failingBench{drainBench: drainBench{supply: run.Battery, charge: 0.9, watts: &w}}
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Minute)
		defer cancel()
		began := time.Now()
		text, err := IdleDrain{Agent: b, Store: b, Duration: time.Hour, Reserve: 0.1}.Run(ctx)
		if err != nil || !strings.Contains(text, "4.50 W") || b.stopped != 1 || len(b.results) != 1 {
			t.Errorf("%q, %v; stopped %d times, results %v", text, err, b.stopped, b.results)
		}
		if lasted := time.Since(began); lasted != 20*time.Minute {
			t.Errorf("lasted %v, want 20 min", lasted)
		}
	})
}
