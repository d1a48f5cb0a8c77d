package agent

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// stepped is an agent on a scripted machine, moved by the test.
type stepped struct {
	*Agent
	m *machine
	n *notebook
}

func newStepped(t *testing.T, show func(time.Duration) scripted.State) stepped {
	t.Helper()
	m, n := newMachine(show), newNotebook()
	ids := 0
	a, err := New(Options{Device: "unit-oak", Sensors: m, Recorder: n, Clock: m, Stepped: true,
		NewID: func(time.Time) (string, error) { ids++; return "run-" + string(rune('0'+ids)), nil },
		Facts: func() map[string]string { return map[string]string{"kernel": "6.1"} }})
	if err != nil {
		t.Fatal(err)
	}
	return stepped{a, m, n}
}

// pass lets time go by in steps of 50 ms.
func (s stepped) pass(t *testing.T, d time.Duration) {
	t.Helper()
	for ; d > 0; d -= 50 * time.Millisecond {
		s.m.advance(50 * time.Millisecond)
		if err := s.Step(); err != nil {
			t.Fatal(err)
		}
	}
}

func mustStart(t *testing.T, a *Agent, s run.Start) run.Run {
	t.Helper()
	r, err := a.StartRun(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func mustStop(t *testing.T, a *Agent, s run.Stop) run.Record {
	t.Helper()
	d, err := a.StopRun(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestARunFromStartToStop(t *testing.T) {
	s := newStepped(t, func(d time.Duration) scripted.State {
		x := scripted.OnBattery(d)
		x.Setting = run.SourcedSetting{}
		return x
	})
	r := mustStart(t, s.Agent, run.Start{Workload: "harbour-flight", Setting: run.Watts(15), Variant: "cores=6", Note: "first"})
	if r.State != run.Recording || r.Supply != run.Battery || r.Setting.String() != "15W" || r.Setting.Source != run.Declared {
		t.Errorf("started %+v", r)
	}
	s.pass(t, 60*time.Second)
	d := mustStop(t, s.Agent, run.Stop{Results: map[string]run.Result{"fps_mean": {Value: 61.4, Unit: "fps", Better: run.Higher}}})
	if d.State != run.Finished || len(d.Findings) != 0 || *d.DurationS != 60 {
		t.Errorf("state %s, findings %v, duration %v", d.State, d.Findings, *d.DurationS)
	}
	near(t, "package_w", *d.PackageW, 14.5, 1e-9)
	near(t, "system_w", *d.SystemW, 20, 0.002)
	if d.Facts["kernel"] != "6.1" || d.SettingRead.Source != run.Firmware {
		t.Errorf("facts %v, setting read %+v", d.Facts, d.SettingRead)
	}
	// 4 sweeps a second, and one at each edge: the one at 60 s is due twice.
	if n := s.n.stored(r.ID); n != 242 {
		t.Errorf("%d sweeps stored, want 242", n)
	}
}

// Energy is counted at the agent's cadence under the labels in force, so that
// what a scrape every few seconds sees is exact.
func TestLedgerCountsUnderTheLabelsInForce(t *testing.T) {
	s := newStepped(t, scripted.OnBattery)
	ctx := context.Background()
	if err := s.SweepIdle(ctx); err != nil {
		t.Fatal(err)
	}
	s.pass(t, 10*time.Second)
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 30*time.Second)
	mustStop(t, s.Agent, run.Stop{})
	s.pass(t, 10*time.Second)
	if err := s.SweepIdle(ctx); err != nil {
		t.Fatal(err)
	}
	var snap Snapshot
	s.Snapshot(&snap)
	joules := map[string]float64{}
	for _, e := range snap.Energies {
		joules[e.Labels.Workload+"/package"] = e.Joules[DomainPackage]
		joules[e.Labels.Workload+"/battery"] = e.Joules[DomainBattery]
	}
	for key, want := range map[string]float64{"tile-sort/package": 435, "tile-sort/battery": 600, "/package": 290, "/battery": 400} {
		near(t, key, joules[key], want, 1e-9)
	}
	s.m.advance(exposedFor - 15*time.Second)
	if s.Snapshot(&snap); len(snap.Energies) != 2 {
		t.Errorf("%d label sets visible just before 5 minutes are over, want 2", len(snap.Energies))
	}
	s.m.advance(30 * time.Second)
	if s.Snapshot(&snap); len(snap.Energies) != 1 {
		t.Errorf("%d label sets visible after 5 minutes, want the current one", len(snap.Energies))
	}
}

func TestOrderOfCommands(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	ctx := context.Background()
	if _, err := s.StopRun(ctx, run.Stop{}); !errors.Is(err, run.ErrNotRecording) {
		t.Errorf("stop without a run: %v", err)
	}
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	if _, err := s.StartRun(ctx, run.Start{Workload: "harbour-flight"}); !errors.Is(err, run.ErrRecording) || !strings.Contains(err.Error(), `"tile-sort"`) {
		t.Errorf("start during a run: %v", err)
	}
	s.pass(t, 6*time.Second)
	mustStop(t, s.Agent, run.Stop{})
	mustStart(t, s.Agent, run.Start{Workload: "harbour-flight"})
}

// A stop that names another run than the one that is recording ends none.
func TestStopOfAnotherRun(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	ctx := context.Background()
	first := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 6*time.Second)
	d := mustStop(t, s.Agent, run.Stop{Run: first.ID, Failure: "the command ended with exit status 3"})
	if f := finding(d, run.CommandFailed); f == nil || f.Severity != run.SeverityDoubt || f.Advice == "" || !strings.Contains(f.Text, "exit status 3") {
		t.Errorf("findings %+v", d.Findings)
	}
	for range 2 {
		if _, err := s.StopRun(ctx, run.Stop{Run: first.ID}); !errors.Is(err, run.ErrEnded) {
			t.Errorf("stopped twice: %v", err)
		}
		mustStart(t, s.Agent, run.Start{Workload: "harbour-flight"})
		if d := mustStop(t, s.Agent, run.Stop{}); d.Workload != "harbour-flight" || finding(d, run.CommandFailed) != nil {
			t.Errorf("%+v", d)
		}
	}
}

func finding(d run.Record, c run.Code) *run.Finding {
	if i := slices.IndexFunc(d.Findings, func(f run.Finding) bool { return f.Code == c }); i >= 0 {
		return &d.Findings[i]
	}
	return nil
}

func TestBadLabels(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	for _, c := range []struct {
		start run.Start
		says  string
	}{
		{run.Start{}, "workload is empty"},
		{run.Start{Workload: "two\nlines"}, "control characters"},
		{run.Start{Workload: strings.Repeat("w", 10_000)}, "workload has 10000 bytes: at most 200"},
		{run.Start{Workload: "w", Variant: "a,b=1"}, "value of variant a is empty"},
		{run.Start{Workload: "w", Variant: "=1"}, "variant key is empty"},
		{run.Start{Workload: "w", Note: strings.Repeat("n", 10_000)}, "note has 10000 bytes"},
	} {
		if _, err := s.StartRun(context.Background(), c.start); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("start %.40v: error %v, want it to say %q", c.start, err, c.says)
		}
	}
	if r := mustStart(t, s.Agent, run.Start{Workload: `say "hello"`}); r.Workload != `say "hello"` {
		t.Errorf("quotes were changed: %s", r.Workload)
	}
	if _, err := s.StopRun(context.Background(), run.Stop{Results: map[string]run.Result{"score": {Value: math.NaN(), Better: run.Higher}}}); err == nil {
		t.Error("a result that is not a number was taken")
	}
	if _, err := s.StopRun(context.Background(), run.Stop{}); err != nil {
		t.Errorf("the refused stop ended the run: %v", err)
	}
}

// The most trusted source that says anything is active.
func TestOrderOfTrust(t *testing.T) {
	limit := 18.0
	s := newStepped(t, func(d time.Duration) scripted.State { x := scripted.OnMains(d); x.Limit = limit; return x })
	active := func() string {
		t.Helper()
		if err := s.SweepIdle(context.Background()); err != nil {
			t.Fatal(err)
		}
		var snap Snapshot
		s.Snapshot(&snap)
		return snap.Current.Setting.String() + " " + string(snap.Current.Setting.Source)
	}
	want := func(when, w string) {
		t.Helper()
		if got := active(); got != w {
			t.Errorf("%s: active setting %q, want %q", when, got, w)
		}
	}
	want("nothing declared", "18W firmware")
	limit = math.NaN()
	want("no limit either", "balanced profile")
	s.opts.ReadSetting = func(context.Context) (run.Setting, error) { return run.Watts(22), nil }
	want("a command", "22W command")
	if err := s.Declare(context.Background(), run.Watts(25), "sweepd setting"); err != nil {
		t.Fatal(err)
	}
	want("declared", "25W declared")
	if err := s.Declare(context.Background(), run.Setting{}, ""); err != nil {
		t.Fatal(err)
	}
	s.opts.ReadSetting = func(context.Context) (run.Setting, error) { return run.Setting{}, errDisk }
	want("taken back, and the command fails", "balanced profile")
}

// Where nothing can be stored, no setting is taken either: who declares one is told.
func TestDeclareWhereNothingCanBeStored(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	s.n.gone = errDisk
	if err := s.Declare(t.Context(), run.Watts(25), ""); !errors.Is(err, errDisk) {
		t.Errorf("declared: %v", err)
	}
	if live := s.Live(); live.Current.Setting.Source == run.Declared {
		t.Errorf("%v is in force", live.Current.Setting)
	}
}

// brokenPacer is a timer that the kernel refuses to set.
type brokenPacer struct{}

var errTimer = errors.New("the timer is gone")

func (brokenPacer) Arm(time.Duration) error { return errTimer }
func (brokenPacer) Wait() (bool, error)     { return false, errTimer }
func (brokenPacer) Wake()                   {}
func (brokenPacer) Close() error            { return nil }

// A start or stop whose parts fail says so.
func TestStartAndStopThatFail(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	s.opts.NewID = func(time.Time) (string, error) { return "", errDisk }
	if _, err := s.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); !errors.Is(err, errDisk) {
		t.Errorf("start without an id: %v", err)
	}
	s.opts.NewID = func(time.Time) (string, error) { return "run-1", nil }
	s.pacer = brokenPacer{}
	if _, err := s.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); !errors.Is(err, errTimer) {
		t.Errorf("start without a timer: %v", err)
	}
	s = newStepped(t, scripted.OnMains)
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pacer = brokenPacer{}
	if _, err := s.StopRun(t.Context(), run.Stop{}); !errors.Is(err, errTimer) {
		t.Errorf("stop without a timer: %v", err)
	}
}

func TestStartThatCannotBeStored(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	s.n.fail(errDisk)
	if _, err := s.StartRun(context.Background(), run.Start{Workload: "tile-sort"}); !errors.Is(err, errDisk) {
		t.Fatalf("start on a full disk: %v", err)
	}
	s.n.fail(nil)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 6*time.Second)
	if d := mustStop(t, s.Agent, run.Stop{}); d.ID != r.ID || s.n.stored(r.ID) != 26 {
		t.Errorf("run %s has %d sweeps, want 26", d.ID, s.n.stored(r.ID))
	}
}

func TestSweepsOutliveAFullDisk(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.n.fail(errDisk)
	for range 200 {
		s.m.advance(50 * time.Millisecond)
		_ = s.Step() // says that the disk is full
	}
	s.n.fail(nil)
	s.pass(t, 2*time.Second)
	mustStop(t, s.Agent, run.Stop{})
	if n := s.n.stored(r.ID); n != 50 {
		t.Errorf("%d sweeps stored after the disk had room again, want all 50", n)
	}
}

// The baseline is learnt from idle sweeps; a start above it, or with a busy
// processor, or near empty, is doubted.
func TestStartFindings(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*scripted.State)
		want   run.Code
		says   string // the finding
		ready  string // what the ready check says
	}{
		{"fit", func(*scripted.State) {}, "", "", ""},
		{"hot", func(s *scripted.State) { s.Celsius = 62 }, run.HotStart, "package was at 62.0 °C at the start, 22.0 K above its idle baseline", "package is at 62 °C, target 50 °C"},
		{"busy", func(s *scripted.State) { s.Busy = 0.6 }, run.BusyStart, "the processor was 60 % busy before the start", "the processor is 60 % busy"},
		{"near empty", func(s *scripted.State) { s.Charge = 0.05 }, run.BatteryReserve, "the battery was at 5 %", "the battery is at 5 %, where devices limit themselves below 10 %"},
	} {
		t.Run(c.name, func(t *testing.T) {
			change := func(*scripted.State) {}
			s := newStepped(t, func(d time.Duration) scripted.State { x := scripted.OnBattery(d); x.Celsius = 40; change(&x); return x })
			for range 20 {
				s.m.advance(10 * time.Second)
				if err := s.SweepIdle(context.Background()); err != nil {
					t.Fatal(err)
				}
			}
			change = c.change
			ready, err := s.Ready(context.Background(), run.Want{})
			if err != nil || ready.Fit != (c.want == "") {
				t.Errorf("ready: %+v, error %v", ready, err)
			}
			mustStart(t, s.Agent, run.Start{Workload: "harbour-flight"})
			s.pass(t, 10*time.Second)
			d := mustStop(t, s.Agent, run.Stop{Results: map[string]run.Result{"score": {Value: 1, Better: run.Higher}}})
			if c.want == "" {
				if len(d.Findings) != 0 {
					t.Errorf("findings %v, want none", d.Findings)
				}
				return
			}
			if len(d.Findings) != 1 || d.Findings[0].Code != c.want || !strings.Contains(d.Findings[0].Text, c.says) || !strings.Contains(ready.Reasons[0].Text, c.ready) {
				t.Errorf("findings %v, ready %v; want %s saying %q", d.Findings, ready.Reasons, c.want, c.says)
			}
		})
	}
}

// Whoever waits looks every two seconds, which does not make a hot device seem idle, and
// stores nothing.
func TestWaitingIsNoIdling(t *testing.T) {
	celsius := 40.0
	s := newStepped(t, func(d time.Duration) scripted.State { x := scripted.OnBattery(d); x.Celsius = celsius; return x })
	for range 8 {
		s.m.advance(10 * time.Second)
		if err := s.SweepIdle(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	celsius = 60
	for range 60 {
		s.m.advance(2 * time.Second)
		r, err := s.Ready(t.Context(), run.Want{})
		if err != nil || r.Fit || *r.Target != 50 {
			t.Fatalf("%+v, %v", r, err)
		}
	}
	if n := s.n.stored(""); n > 8+120/10+1 {
		t.Errorf("%d idle sweeps are stored", n)
	}
}

func TestReadyWantsItsSupplyAndCharge(t *testing.T) {
	s := newStepped(t, scripted.OnBattery)
	for _, c := range []struct {
		want run.Want
		says string
	}{
		{run.Want{Supply: run.Mains}, "the device is on battery, the run wants mains; plug it in"},
		{run.Want{Supply: run.Battery, MinCharge: 0.9}, "the battery is at 80 %, the run needs 90 %"},
		{run.Want{Supply: run.Battery, MinCharge: 0.5}, ""},
		{run.Want{Setting: run.Watts(15)}, ""},
		{run.Want{Setting: run.Watts(25)}, "the run wants 25W, but the system reports 15W (firmware)"},
	} {
		r, err := s.Ready(context.Background(), c.want)
		if err != nil || r.Fit != (c.says == "") || c.says != "" && !strings.Contains(r.Reasons[0].WithAdvice(), c.says) {
			t.Errorf("ready for %+v: %+v, error %v; want %q", c.want, r, err, c.says)
		}
	}
}

// A batch that can never be stored does not block those after it.
func TestRefusedSweepsAreDropped(t *testing.T) {
	s := newStepped(t, scripted.OnMains)
	r := mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.n.fail(fmt.Errorf("%w: a value is infinite", run.ErrRefused))
	s.pass(t, 3*time.Second)
	s.n.fail(nil)
	s.pass(t, 5*time.Second)
	mustStop(t, s.Agent, run.Stop{})
	if n := s.n.stored(r.ID); n < 20 || n > 24 {
		t.Errorf("%d sweeps stored, want those of the last 5 s", n)
	}
}

// The interval after a run is not counted as if its load went down slowly.
func TestFirstIdleSweepFollowsTheRun(t *testing.T) {
	busy := true
	s := newStepped(t, func(d time.Duration) scripted.State {
		x := scripted.OnBattery(d)
		if !busy {
			x.Power = 4
		}
		return x
	})
	mustStart(t, s.Agent, run.Start{Workload: "tile-sort"})
	s.pass(t, 10*time.Second)
	mustStop(t, s.Agent, run.Stop{})
	busy = false
	s.pass(t, 10*time.Second)
	if err := s.SweepIdle(context.Background()); err != nil {
		t.Fatal(err)
	}
	var snap Snapshot
	s.Snapshot(&snap)
	for _, e := range snap.Energies {
		if e.Labels.Workload == "" {
			// One second from 20 to 4 W, then nine at 4 W.
			near(t, "energy after the run", e.Joules[DomainBattery], 12+36, 1e-9)
		}
	}
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s is %.15g, want %.15g within %g", what, got, want, rel)
	}
}
