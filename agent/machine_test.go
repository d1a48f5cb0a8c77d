package agent

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// machine is a scripted set of sensors under a clock that the test moves.
type machine struct {
	mu    sync.Mutex
	now   run.Instant
	show  func(t time.Duration) scripted.State
	block chan struct{} // if not nil, ReadSlow waits for it
	slow  int           // calls of ReadSlow
	every time.Duration // of the latest call of Hasten
}

func newMachine(show func(time.Duration) scripted.State) *machine {
	return &machine{now: scripted.Start, show: show}
}

func (m *machine) Now() run.Instant { m.mu.Lock(); defer m.mu.Unlock(); return m.now }

func (m *machine) advance(d time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.now = scripted.After(m.now, d)
}

func (m *machine) Sensors() []run.Sensor { return scripted.Sensors }

func (m *machine) Sweep(now time.Duration) []float64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.show(now - scripted.Start.Mono).Values()
}

func (m *machine) SlowDue(time.Duration) bool { return true }
func (m *machine) Rescan(time.Duration)       {}

func (m *machine) Hasten(every time.Duration) { m.mu.Lock(); m.every = every; m.mu.Unlock() }
func (m *machine) hasty() time.Duration       { m.mu.Lock(); defer m.mu.Unlock(); return m.every }

func (m *machine) ReadSlow(time.Duration) {
	m.mu.Lock()
	m.slow++
	block := m.block
	m.mu.Unlock()
	if block != nil {
		<-block
	}
}

// notebook is a Recorder and IdleHistory in memory that can be told to fail.
type notebook struct {
	mu       sync.Mutex
	runs     map[string]run.Record
	sweeps   map[string][]run.Sweep
	declared run.Declaration
	refuse   error
	gone     error // of CheckPlace
	appends  int
}

func newNotebook() *notebook {
	return &notebook{runs: map[string]run.Record{}, sweeps: map[string][]run.Sweep{}}
}

var errDisk = errors.New("no space left on device")

// copied has what n has so far.
func (n *notebook) copied() *notebook {
	n.mu.Lock()
	defer n.mu.Unlock()
	return &notebook{runs: maps.Clone(n.runs), sweeps: maps.Clone(n.sweeps)}
}

func (n *notebook) fail(err error) { n.mu.Lock(); n.refuse = err; n.mu.Unlock() }

func (n *notebook) BeginRun(_ context.Context, d run.Record) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.refuse != nil {
		return n.refuse
	}
	n.runs[d.ID] = d
	return nil
}

func (n *notebook) Append(_ context.Context, b run.Batch) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.appends++
	if n.refuse != nil {
		return n.refuse
	}
	if _, there := n.runs[b.RunID]; !there && b.RunID != "" {
		return errors.New("no such run: " + b.RunID)
	}
	for _, s := range b.Sweeps {
		s.Values = slices.Clone(s.Values)
		n.sweeps[b.RunID] = append(n.sweeps[b.RunID], s)
	}
	return nil
}

func (n *notebook) Trace(_ context.Context, id string) (run.Trace, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return &scripted.Trace{Of: scripted.Sensors, Sweeps: slices.Clone(n.sweeps[id])}, nil
}

func (n *notebook) IdleSweeps(_ context.Context, _ string, since time.Time) (run.Trace, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.refuse != nil {
		return nil, n.refuse
	}
	idle := &scripted.Trace{Of: scripted.Sensors}
	for _, s := range n.sweeps[""] {
		if !s.At.Wall.Before(since) {
			idle.Sweeps = append(idle.Sweeps, s)
		}
	}
	return idle, nil
}

func (n *notebook) FinishRun(_ context.Context, d run.Record) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.refuse != nil {
		return n.refuse
	}
	switch old, there := n.runs[d.ID]; {
	case !there:
		return run.ErrNoRun
	case old.State != run.Recording:
		return run.ErrEnded
	}
	n.runs[d.ID] = d
	return nil
}

func (n *notebook) Correct(_ context.Context, id string, c run.Correction) (run.Record, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.refuse != nil {
		return run.Record{}, n.refuse
	}
	d := (&run.Ended{Record: n.runs[id], Corrections: []run.Correction{{Results: c.Results, Decision: c.Decision, Why: c.Why}}}).Corrected()
	d.Findings = slices.DeleteFunc(slices.Clone(d.Findings), func(f run.Finding) bool { _, replaced := c.Findings[f.Code]; return replaced })
	for _, f := range c.Findings {
		d.Findings = append(d.Findings, *f)
	}
	n.runs[id] = d
	return d, nil
}

func (n *notebook) Unfinished(context.Context, string) ([]run.Record, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	var left []run.Record
	for _, d := range n.runs {
		if d.State == run.Recording {
			left = append(left, d)
		}
	}
	return left, nil
}

func (n *notebook) KeepDeclaration(_ context.Context, _ string, d run.Declaration) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.refuse == nil {
		n.declared = d
	}
	return n.refuse
}

func (n *notebook) CheckPlace(context.Context) error { n.mu.Lock(); defer n.mu.Unlock(); return n.gone }

func (n *notebook) stored(id string) int { n.mu.Lock(); defer n.mu.Unlock(); return len(n.sweeps[id]) }

// until waits for a condition that another goroutine brings about.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatalf("gave up waiting for %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}
