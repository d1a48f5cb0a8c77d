package sqlite

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"sweepd/agent"
	"sweepd/internal/scripted"
	"sweepd/run"
)

// handheld is a scripted machine on mains under a clock that the test moves.
type handheld struct{ now run.Instant }

func (m *handheld) Now() run.Instant           { return m.now }
func (m *handheld) Sensors() []run.Sensor      { return scripted.Sensors }
func (m *handheld) SlowDue(time.Duration) bool { return false }
func (m *handheld) ReadSlow(time.Duration)     {}
func (m *handheld) Rescan(time.Duration)       {}
func (m *handheld) Hasten(time.Duration)       {}
func (m *handheld) Sweep(now time.Duration) []float64 {
	return scripted.OnMains(now - scripted.Start.Mono).Values()
}

// full is a store whose disk is full while full is set.
type full struct {
	*Store
	full atomic.Bool
}

func (s *full) Append(ctx context.Context, b run.Batch) error {
	if s.full.Load() {
		return errors.New("no space left on device")
	}
	return s.Store.Append(ctx, b)
}

// record has an agent record a run of so many seconds, and gives it as it is while the
// agent is about to die. during is called after each second.
func record(t *testing.T, s *full, seconds int, during func(second int)) (id string) {
	m := &handheld{now: scripted.Start}
	a, err := agent.New(agent.Options{Device: "unit-oak", Sensors: m, Recorder: s, Clock: m, Stepped: true})
	must(t, err)
	r, err := a.StartRun(t.Context(), run.Start{Workload: "tile-sort"})
	must(t, err)
	for i := range seconds {
		for range 4 {
			m.now = scripted.After(m.now, scripted.Interval)
			if err := a.Step(); err != nil && !s.full.Load() {
				t.Fatal(err)
			}
		}
		during(i)
	}
	return r.ID
}

// judgedAnew has the next agent judge what the last one left behind, and wants one
// finding beside the missing result.
func judgedAnew(t *testing.T, s *full, id string, code run.Code, says string) {
	t.Helper()
	m := &handheld{now: scripted.Start}
	a, err := agent.New(agent.Options{Device: "unit-oak", Sensors: m, Recorder: s})
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	must(t, a.SweepIdle(ctx)) // the loop goes: the past is judged
	cancel()
	must(t, <-done)
	d, err := s.Run(t.Context(), id)
	must(t, err)
	if len(d.Findings) != 2 || !d.HasFinding(run.ResultMissing) || !d.HasFinding(code) {
		t.Fatalf("findings %+v, want %s and no other but result_missing", d.Findings, code)
	}
	for _, f := range d.Findings {
		if f.Code == code && (f.Severity != run.SeverityDoubt || !strings.Contains(f.Text, says)) {
			t.Errorf("%s says %q, want %q", code, f.Text, says)
		}
	}
}

// Sweeps that a full disk took are a finding and no gap of the device's, for the next
// agent too.
func TestAFullDiskIsAFinding(t *testing.T) {
	s := &full{Store: openTest(t)}
	id := record(t, s, 1000, func(i int) { s.full.Store(i >= 20 && i < 950) })
	judgedAnew(t, s, id, run.ReadingsLost, " sweeps from 09:30:2")
}

// So are rows that the disk spoilt.
func TestDamagedRowsAreAFinding(t *testing.T) {
	s := &full{Store: openTest(t)}
	id := record(t, s, 200, func(int) {})
	_, err := s.write.ExecContext(t.Context(), `UPDATE readings SET data = substr(data, 1, 2) WHERE id & 0xffffffff = 70`)
	must(t, err)
	// A row has the three sweeps of 0.75 s, the first one four: the one before the 70th ends
	// at 52.5 s, and the next key row,
	// the 128th, begins at 96.25 s.
	judgedAnew(t, s, id, run.DataDamaged, "at least 171 sweeps from 09:30:52 to 09:31:36 UTC cannot be read")
}
