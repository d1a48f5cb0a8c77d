package agent

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// kept is a journal in memory that can be told to fail.
type kept struct {
	mu   sync.Mutex
	runs map[string]run.Ended
	fail error
}

func newKept() *kept { return &kept{runs: map[string]run.Ended{}} }

func (k *kept) Keep(e *run.Ended) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fail == nil {
		k.runs[e.Record.ID] = *e
	}
	return k.fail
}

func (k *kept) Stored(id string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	delete(k.runs, id)
	return nil
}

// left is what the next agent finds.
func (k *kept) left() (list []run.Ended) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, e := range k.runs {
		list = append(list, e)
	}
	return list
}

var fps = run.Stop{Note: "warm", Results: map[string]run.Result{"fps": {Value: 61, Better: run.Higher}}}

// recordOntoFullDisk starts run-1 and records for 10 s, of which the disk takes the
// first 5.
func (s stepped) recordOntoFullDisk(t *testing.T) {
	t.Helper()
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 5*time.Second)
	s.n.fail(errDisk)
	for range 100 {
		s.m.advance(50 * time.Millisecond)
		_ = s.Step() // says that the disk is full
	}
}

// unstoredStop stops a run while nothing can be stored.
func unstoredStop(t *testing.T, s stepped, in run.KeptIn) run.Record {
	t.Helper()
	s.n.fail(errDisk)
	_, err := s.StopRun(t.Context(), fps)
	var not *run.NotStoredError
	if !errors.As(err, &not) || !errors.Is(err, errDisk) || not.Run.KeptIn != in {
		t.Fatalf("stopped while nothing can be stored: %v", err)
	}
	return not.Run
}

// wantStored wants a run stored as it was stopped with fps, with all sweeps and nothing
// against it.
func wantStored(t *testing.T, n *notebook, id string, sweeps int) {
	t.Helper()
	n.mu.Lock()
	defer n.mu.Unlock()
	d := n.runs[id]
	if d.State != run.Finished || d.Results["fps"].Value != 61 || d.Note != "warm" || len(d.Findings) != 0 || *d.DurationS != 10 || len(d.Summaries) == 0 {
		t.Errorf("stored: %+v", d)
	}
	if len(n.sweeps[id]) != sweeps {
		t.Errorf("%d sweeps are stored, want %d", len(n.sweeps[id]), sweeps)
	}
}

// A run that cannot be stored at its end has ended all the same, with its results. It is
// stored by whatever comes next.
func TestAStopThatCannotBeStored(t *testing.T) {
	for name, next := range map[string]func(s stepped) error{
		"start": func(s stepped) error {
			_, err := s.StartRun(context.Background(), run.Start{Workload: "harbour-flight"})
			return err
		},
		"stop": func(s stepped) error {
			if _, err := s.StopRun(context.Background(), run.Stop{}); !errors.Is(err, run.ErrNotRecording) {
				return err
			}
			return nil
		},
		"stop of the same": func(s stepped) error {
			if _, err := s.StopRun(context.Background(), run.Stop{Run: "run-1"}); !errors.Is(err, run.ErrEnded) {
				return err
			}
			return nil
		},
		"asking": func(s stepped) error { return s.StoreEnded(context.Background()) },
	} {
		t.Run(name, func(t *testing.T) {
			s, k := newStepped(t, scripted.OnMains), newKept()
			s.unstored.journal = k
			s.recordOntoFullDisk(t)
			d := unstoredStop(t, s, run.InJournal)
			if d.State != run.Finished || *d.DurationS != 10 || d.Results["fps"].Value != 61 {
				t.Errorf("kept: %+v", d)
			}
			live := s.Live()
			if live.Recording != nil || len(live.Unstored) != 1 || live.Unstored[0].ID != d.ID || live.Unstored[0].KeptIn != run.InJournal {
				t.Errorf("recording %v, unstored %+v", live.Recording, live.Unstored)
			}
			// No run is started that could not be stored.
			if _, err := s.StartRun(t.Context(), run.Start{Workload: "harbour-flight"}); !errors.Is(err, errDisk) || !strings.Contains(err.Error(), "run-1, which has ended, is not stored yet either") {
				t.Errorf("started: %v", err)
			}
			s.n.fail(nil)
			if err := next(s); err != nil {
				t.Fatal(err)
			}
			wantStored(t, s.n, d.ID, 42)
			if live := s.Live(); len(live.Unstored) != 0 || len(k.left()) != 0 {
				t.Errorf("left: %+v, in the journal %+v", live.Unstored, k.left())
			}
		})
	}
}

// It is stored by itself as soon as that works, and those who follow runs hear of it then.
func TestItIsStoredByItself(t *testing.T) {
	m, n := newMachine(scripted.OnMains), newNotebook()
	a, stop := running(t, m, n)
	var mu sync.Mutex
	var heard []run.EventKind
	a.Subscribe(func(e run.Event) { mu.Lock(); defer mu.Unlock(); heard = append(heard, e.Kind) })
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	until(t, "5 sweeps on disk", func() bool { return n.stored(r.ID) >= 5 })
	n.fail(errDisk)
	if _, err := a.StopRun(t.Context(), fps); !errors.Is(err, errDisk) {
		t.Fatal(err)
	}
	n.fail(nil)
	until(t, "the run is stored", func() bool { return len(a.Live().Unstored) == 0 })
	until(t, "its end is told", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return len(heard) > 0 && heard[len(heard)-1] == run.RunEnded
	})
	if d := n.runs[r.ID]; d.State != run.Finished || d.Results["fps"].Value != 61 {
		t.Errorf("stored: %+v", d)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// What the agent could not store, the next one does: as it ended, and with the sweeps that
// were lost counted.
func TestTheNextAgentStoresIt(t *testing.T) {
	s, k := newStepped(t, scripted.OnMains), newKept()
	s.unstored.journal = k
	s.recordOntoFullDisk(t)
	d := unstoredStop(t, s, run.InJournal)
	if found, err := s.CorrectUnstored(d.ID, run.Correction{At: scripted.Start.Wall, Results: map[string]run.NewResult{"score": {Result: run.Result{Value: 7, Better: run.Higher}}}}); !found || !errors.Is(err, errNotYet) {
		t.Errorf("corrected: %v, %v", found, err)
	}
	if _, err := s.CorrectUnstored(d.ID, run.Correction{Decision: "perhaps"}); err == nil {
		t.Error("a decision that is none was taken")
	}
	if found, err := s.CorrectUnstored("another", run.Correction{}); found || err != nil {
		t.Errorf("another: %v, %v", found, err)
	}
	n := s.n.copied() // the agent dies
	there := len(n.sweeps[d.ID])
	next, err := New(Options{Device: "unit-oak", Sensors: newMachine(scripted.OnMains), Recorder: n, Journal: k, Left: k.left()})
	if err != nil {
		t.Fatal(err)
	}
	n.fail(errDisk)
	if err := next.Restore(t.Context()); !errors.Is(err, errDisk) || len(next.Live().Unstored) != 1 {
		t.Errorf("restored while nothing can be stored: %v", err)
	}
	n.fail(nil)
	if err := next.StoreEnded(t.Context()); err != nil {
		t.Fatal(err)
	}
	got := n.runs[d.ID]
	if got.State != run.Finished || *got.DurationS != 10 || got.Results["fps"].Value != 61 || got.Results["score"].Value != 7 {
		t.Errorf("stored: %+v", got)
	}
	if there == 0 || there == 42 {
		t.Fatalf("%d of 42 sweeps were stored: want some", there)
	}
	wantOnly(t, got, run.ReadingsLost, "sweeps from 09:30:0")
	if want := 42 - there; !strings.HasPrefix(got.Findings[0].Text, itoa(want)+" sweeps") {
		t.Errorf("%q, want %d sweeps", got.Findings[0].Text, want)
	}
	if len(k.left()) != 0 || len(next.Live().Unstored) != 0 {
		t.Errorf("left: %+v", k.left())
	}
}

func itoa(n int) string { return string([]byte{byte('0' + n/10), byte('0' + n%10)}) }

// An agent that ends while nothing can be stored leaves its run, interrupted, to the next.
func TestTheEndWhileNothingCanBeStored(t *testing.T) {
	n, k := newNotebook(), newKept()
	a, stop := running(t, newMachine(scripted.OnMains), n)
	a.unstored.journal = k
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	until(t, "5 sweeps on disk", func() bool { return n.stored(r.ID) >= 5 })
	n.fail(errDisk)
	if err := stop(); !errors.Is(err, errDisk) {
		t.Errorf("ended: %v", err)
	}
	left := k.left()
	if len(left) != 1 || left[0].Record.State != run.Interrupted || left[0].Record.DurationS == nil || left[0].Sweeps < 5 {
		t.Fatalf("left: %+v", left)
	}
	n.fail(nil)
	next, err := New(Options{Device: "unit-oak", Sensors: newMachine(scripted.OnMains), Recorder: n, Journal: k, Left: left})
	if err != nil {
		t.Fatal(err)
	}
	if err := next.Restore(t.Context()); err != nil || n.runs[r.ID].State != run.Interrupted || len(k.left()) != 0 {
		t.Errorf("restored: %v, %+v", err, n.runs[r.ID])
	}
}

// A run that a crash left, and that cannot be judged at once, is judged later.
func TestACrashAndNothingCanBeStored(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 10*time.Second)
	n := s.n.copied()
	n.fail(errDisk)
	k := newKept()
	a, err := New(Options{Device: "unit-oak", Sensors: newMachine(scripted.OnMains), Recorder: n, Journal: k})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Restore(t.Context()); !errors.Is(err, errDisk) || len(k.left()) != 0 {
		t.Errorf("%v; the journal needs nothing: %+v", err, k.left())
	}
	n.fail(nil)
	if err := a.StoreEnded(t.Context()); err != nil || n.runs[r.ID].State != run.Interrupted {
		t.Errorf("%v, %+v", err, n.runs[r.ID])
	}
}

// Where the agent before died between storing a run and taking it out of the journal, what
// is stored stays.
func TestARunThatIsStoredAlready(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 10*time.Second)
	d := mustStop(t, s.Agent, fps)
	k := newKept()
	old := d
	old.Results = map[string]run.Result{"fps": {Value: 1, Better: run.Higher}}
	again := run.Ended{Record: old, Sweeps: 42}
	if err := k.Keep(&again); err != nil {
		t.Fatal(err)
	}
	a, err := New(Options{Device: "unit-oak", Sensors: newMachine(scripted.OnMains), Recorder: s.n, Journal: k, Left: k.left()})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Restore(t.Context()); err != nil || s.n.runs[d.ID].Results["fps"].Value != 61 || len(k.left()) != 0 {
		t.Errorf("%v, %+v", err, s.n.runs[d.ID])
	}
}

// Where the data was replaced meanwhile, the run is stored in what is there.
func TestARunThatTheRecorderDoesNotKnow(t *testing.T) {
	s, k := newStepped(t, scripted.OnMains), newKept()
	s.unstored.journal = k
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 10*time.Second)
	d := unstoredStop(t, s, run.InJournal)
	n := newNotebook()
	a, err := New(Options{Device: "unit-oak", Sensors: newMachine(scripted.OnMains), Recorder: n, Journal: k, Left: k.left()})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Restore(t.Context()); err != nil {
		t.Fatal(err)
	}
	got := n.runs[d.ID]
	if got.State != run.Finished || got.Results["fps"].Value != 61 || got.Workload != "tile-sort" {
		t.Errorf("stored: %+v", got)
	}
	wantOnly(t, got, run.ReadingsLost, "42 sweeps")
}

// A journal that fails, too, is said, once, with the results: then they are in the log.
func TestKeptInMemoryOnly(t *testing.T) {
	s, k := newStepped(t, scripted.OnMains), newKept()
	k.fail = errors.New("read-only")
	s.unstored.journal = k
	core, logs := observer.New(zap.ErrorLevel)
	s.log = zap.New(core)
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 10*time.Second)
	d := unstoredStop(t, s, run.InMemory)
	for range 3 {
		if err := s.StoreEnded(t.Context()); !strings.Contains(err.Error(), "memory only") {
			t.Errorf("tried again: %v", err)
		}
	}
	said := logs.FilterMessageSnippet("could not be stored").All()
	if len(said) != 1 {
		t.Fatalf("said %d times", len(said))
	}
	if c := said[0].ContextMap(); c["run"] != d.ID || c["kept_in"] != "memory" || c["journal"] != "read-only" {
		t.Errorf("said %v", c)
	}
	k.fail = nil // where the journal works again, it is used
	if err := s.StoreEnded(t.Context()); !strings.Contains(err.Error(), "in the journal") {
		t.Errorf("tried again: %v", err)
	}
	s.n.fail(nil)
	if err := s.StoreEnded(t.Context()); err != nil {
		t.Error(err)
	}
	wantStored(t, s.n, d.ID, 42)
}

// However many idle sweeps come while nothing can be stored, those of a run stay longer.
func TestIdleSweepsGoFirst(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	s.recordOntoFullDisk(t)
	d := unstoredStop(t, s, run.InMemory)
	for range 2000 {
		s.m.advance(10 * time.Second)
		_ = s.SweepIdle(t.Context())
	}
	s.n.fail(nil)
	if err := s.StoreEnded(t.Context()); err != nil {
		t.Fatal(err)
	}
	wantStored(t, s.n, d.ID, 42)
}

// Stops, corrections and attempts may come at the same time.
func TestManyAtOnce(t *testing.T) {
	n, k := newNotebook(), newKept()
	a, stop := running(t, newMachine(scripted.OnMains), n)
	a.unstored.journal = k
	r := mustStart(t, a, run.Start{Workload: "tile-sort"})
	until(t, "5 sweeps on disk", func() bool { return n.stored(r.ID) >= 5 })
	n.fail(errDisk)
	var group sync.WaitGroup
	for i := range 4 {
		group.Go(func() {
			_, _ = a.StopRun(t.Context(), fps)
			c := run.Correction{At: scripted.Start.Wall, Results: map[string]run.NewResult{itoa(10 + i): {Result: run.Result{Value: 1, Better: run.Higher}}}}
			until(t, "the run has ended", func() bool { found, _ := a.CorrectUnstored(r.ID, c); return found })
			_ = a.StoreEnded(t.Context())
			a.Live()
		})
	}
	group.Wait()
	n.fail(nil)
	if err := a.StoreEnded(t.Context()); err != nil {
		t.Error(err)
	}
	if d := n.runs[r.ID]; d.State != run.Finished || len(d.Results) != 5 || len(k.left()) != 0 {
		t.Errorf("stored %+v, left %+v", d.Run, k.left())
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}
