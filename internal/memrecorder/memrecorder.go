// Package memrecorder keeps runs and sweeps in memory, for tests. It passes the
// same suite as the real store, see recordercontract.
package memrecorder

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"sweepd/agent"
	"sweepd/collectors"
)

// Recorder is an agent.Recorder and agent.IdleHistory. The zero value is ready.
// Methods may be called from any goroutine.
type Recorder struct {
	// Fail, where set, is asked before every call that stores something; its
	// error is returned and nothing is stored.
	Fail func(call string) error

	mu   sync.Mutex
	runs []*run
	idle map[string]*trace // by device
}

type run struct {
	detail agent.Detail
	trace  trace
}

var _ agent.Recorder = (*Recorder)(nil)
var _ agent.IdleHistory = (*Recorder)(nil)

var (
	errNoRun  = errors.New("no such run")
	errExists = errors.New("the run exists already")
)

func (r *Recorder) may(call string) error {
	if r.Fail == nil {
		return nil
	}
	return r.Fail(call)
}

func (r *Recorder) findLocked(id string) (*run, error) {
	for _, x := range r.runs {
		if x.detail.ID == id {
			return x, nil
		}
	}
	return nil, fmt.Errorf("run %s: %w", id, errNoRun)
}

// BeginRun keeps a run in state recording.
func (r *Recorder) BeginRun(_ context.Context, d agent.Detail) error {
	if err := r.may("BeginRun"); err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if d.State != agent.Recording {
		return fmt.Errorf("run %s is %q, want %q", d.ID, d.State, agent.Recording)
	}
	if _, err := r.findLocked(d.ID); err == nil {
		return fmt.Errorf("run %s: %w", d.ID, errExists)
	}
	r.runs = append(r.runs, &run{detail: copied(d)})
	return nil
}

// Append keeps a copy of the sweeps.
func (r *Recorder) Append(_ context.Context, b agent.Batch) error {
	if err := r.may("Append"); err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if b.RunID != "" {
		x, err := r.findLocked(b.RunID)
		if err != nil {
			return err
		}
		return x.trace.add(b)
	}
	if r.idle == nil {
		r.idle = map[string]*trace{}
	}
	if r.idle[b.Device] == nil {
		r.idle[b.Device] = &trace{}
	}
	return r.idle[b.Device].add(b)
}

// Trace is a copy of what is stored for the run so far.
func (r *Recorder) Trace(_ context.Context, runID string) (agent.Trace, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	x, err := r.findLocked(runID)
	if err != nil {
		return nil, err
	}
	return x.trace.since(time.Time{}), nil
}

// IdleSweeps is a copy of the device's idle sweeps since a moment.
func (r *Recorder) IdleSweeps(_ context.Context, device string, since time.Time) (agent.Trace, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if t := r.idle[device]; t != nil {
		return t.since(since), nil
	}
	return &trace{}, nil
}

// FinishRun keeps the judged run and the results that were set meanwhile.
func (r *Recorder) FinishRun(_ context.Context, d agent.Detail) error {
	if err := r.may("FinishRun"); err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	x, err := r.findLocked(d.ID)
	if err != nil {
		return err
	}
	if x.detail.State != agent.Recording || d.State == agent.Recording {
		return fmt.Errorf("run %s is %s and cannot become %s", d.ID, x.detail.State, d.State)
	}
	before := x.detail
	x.detail = copied(d)
	if len(d.Facts) == 0 {
		x.detail.Facts = before.Facts
	}
	for name, result := range before.Results {
		if _, given := d.Results[name]; !given {
			x.detail.Results[name] = result
		}
	}
	x.dropResultMissing()
	return nil
}

// Unfinished are the runs that are still recording.
func (r *Recorder) Unfinished(context.Context) ([]agent.Detail, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	left := []agent.Detail{}
	for _, x := range r.runs {
		if x.detail.State == agent.Recording {
			left = append(left, copied(x.detail))
		}
	}
	return left, nil
}

// Run is a copy of a run; id is a full one.
func (r *Recorder) Run(_ context.Context, id string) (agent.Detail, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	x, err := r.findLocked(id)
	if err != nil {
		return agent.Detail{}, err
	}
	return copied(x.detail), nil
}

// SetResult adds or replaces a result.
func (r *Recorder) SetResult(_ context.Context, id, name string, result agent.Result, _ time.Time) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	x, err := r.findLocked(id)
	if err != nil {
		return err
	}
	x.detail.Results[name] = result
	x.dropResultMissing()
	return nil
}

func (x *run) dropResultMissing() {
	if len(x.detail.Results) > 0 {
		x.detail.Findings = slices.DeleteFunc(x.detail.Findings, func(f agent.Finding) bool { return f.Code == agent.ResultMissing })
	}
}

// copied is d with maps and slices of its own, none of them nil.
func copied(d agent.Detail) agent.Detail {
	d.Variant = copiedMap(d.Variant)
	d.Facts = copiedMap(d.Facts)
	d.Results = copiedMap(d.Results)
	d.Findings = append([]agent.Finding{}, d.Findings...)
	d.Summaries = append([]agent.Summary{}, d.Summaries...)
	return d
}

func copiedMap[V any](m map[string]V) map[string]V {
	if m == nil {
		return map[string]V{}
	}
	return maps.Clone(m)
}

// trace is sweeps in memory.
type trace struct {
	sensors []collectors.Sensor
	sweeps  []agent.Sweep
}

func (t *trace) add(b agent.Batch) error {
	for i := range min(len(t.sensors), len(b.Sensors)) {
		if t.sensors[i] != b.Sensors[i] {
			return fmt.Errorf("sensor %d of run %s changed from %s to %s: sensors keep their places", i, b.RunID, t.sensors[i].ID, b.Sensors[i].ID)
		}
	}
	for _, s := range b.Sweeps {
		if len(s.Values) > len(b.Sensors) {
			return fmt.Errorf("%d values for %d sensors", len(s.Values), len(b.Sensors))
		}
		for i, v := range s.Values {
			if math.IsInf(v, 0) {
				return fmt.Errorf("sensor %s reads %v", b.Sensors[i].ID, v)
			}
		}
	}
	if len(b.Sensors) > len(t.sensors) {
		t.sensors = slices.Clone(b.Sensors)
	}
	for _, s := range b.Sweeps {
		s.Values = slices.Clone(s.Values)
		if s.Setting.Watts != nil {
			w := *s.Setting.Watts
			s.Setting.Watts = &w
		}
		t.sweeps = append(t.sweeps, s)
	}
	return nil
}

func (t *trace) since(from time.Time) *trace {
	c := &trace{sensors: t.sensors}
	for _, s := range t.sweeps {
		if !s.At.Wall.Before(from) {
			c.sweeps = append(c.sweeps, s)
		}
	}
	return c
}

func (t *trace) Sensors() []collectors.Sensor { return t.sensors }

func (t *trace) Each(f func(agent.Sweep) error) error {
	for _, s := range t.sweeps {
		s.Values = slices.Clone(s.Values)
		if err := f(s); err != nil {
			return err
		}
	}
	return nil
}
