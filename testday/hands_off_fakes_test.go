package testday

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/schedule"
)

// bench is a device on a bench with all that a day without hands needs around it. It is an
// Agent, a Panel, a GuardWatch and a JobLink whose faults a test sets; under synctest all of
// it is on one simulated clock.
type bench struct {
	t  *testing.T
	mu sync.Mutex

	// The device.
	supply    run.Supply
	charge    *float64
	reads     *run.SourcedSetting
	hot       time.Time // until when it is
	plan      schedule.Plan
	estimates schedule.Estimates
	noPlan    error
	runs      []run.Run
	record    *run.Run
	refused   error // by StartRun
	ids       int
	misread   bool // runs have no supply
	held      bool // power is, by a limiter
	found     []run.Finding
	name      string                               // of the device
	stopErr   func(run.Record) (run.Record, error) // what becomes of a stop, while the run goes on or once it ended
	stays     bool                                 // the run goes on where a stop fails

	declared run.Declaration

	// What is set, and what was set first, by key. What is not in first cannot be set.
	first, set map[string]string
	applied    []string // in order: "setting=25W"
	applyErr   func(w actuators.Write) error
	stepsErr   func(key string) error
	restoreErr func() error
	reverts    func() // after a run: a value that goes back by itself
	restores   int
	hangs      chan struct{} // an Apply waits for it

	// Guards.
	trip       func(Tripped)
	armErr     error
	busy       bool
	arms       int
	setUnarmed bool // something was set while no guard watched

	// Runner.
	runner  *RunnerSeen
	changed chan struct{}
	job     func(ctx context.Context, j Job) (JobDone, error)
	jobs    []Job
	running bool

	// rejects are the runs that were.
	rejectErr error
	watts     func(c run.Cell) float64
	said      []string
	events    []string // what matters in order: "restore", "end job", "stop run", "reject"
}

// dataDir is a folder for a day's file, in memory where there is such a place: a day writes
// it through to the disk often.
func dataDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "sweepd-day-")
	if err != nil || runtime.GOOS == "windows" { // Wine has that folder, and takes no file out of it
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

const benchRun = 60 * time.Second

func newBench(t *testing.T, q schedule.Request) *bench {
	t.Helper()
	q.Devices = []string{"unit-oak"}
	if len(q.Workloads) == 0 {
		q.Workloads = []string{"harbour-flight"}
	}
	e := schedule.Estimates{RunDuration: map[string]time.Duration{"": benchRun}, Pause: 30 * time.Second}
	p, err := schedule.NewPlan(q, e, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	p.ID = 3
	b := &bench{t: t, plan: p, estimates: e, supply: run.Mains, first: map[string]string{"setting": "28W", "cores": "8"}, set: map[string]string{}, changed: make(chan struct{}),
		runner: &RunnerSeen{ID: "r1", User: "oak"}}
	b.watts = func(c run.Cell) float64 { w, _ := c.Setting.Watts(); return w - 0.3 }
	b.job = func(ctx context.Context, j Job) (JobDone, error) {
		return b.works(ctx, j, JobDone{Results: map[string]run.Result{"fps_mean": {Value: 60, Unit: "fps"}}})
	}
	return b
}

// works is a workload that takes a while, unless it is ended.
func (b *bench) works(ctx context.Context, j Job, d JobDone) (JobDone, error) {
	d.Job, d.TookS = j.ID, benchRun.Seconds()
	select {
	case <-time.After(benchRun):
		return d, nil
	case <-ctx.Done():
		b.note("end job")
		return JobDone{Job: j.ID, Failure: "command \"game\": ended by SIGTERM"}, nil
	}
}

func (b *bench) note(what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.events = append(b.events, what)
}

func (b *bench) options(dir string) HandsOffOptions {
	return HandsOffOptions{
		Agent: b, Panel: b, Guards: b, Jobs: jobsOf{b}, Dir: dir,
		Plan: func(context.Context, string) (Plan, error) {
			b.mu.Lock()
			defer b.mu.Unlock()
			return Plan{Plan: b.plan, Runs: slices.Clone(b.runs), Estimates: b.estimates}, b.noPlan
		},
		Reject: func(_ context.Context, id, why string) error {
			b.note("reject")
			b.mu.Lock()
			defer b.mu.Unlock()
			if b.rejectErr != nil {
				return b.rejectErr
			}
			for i := range b.runs {
				if b.runs[i].ID == id {
					b.runs[i].State, b.runs[i].Why = run.Rejected, why
				}
			}
			return run.CheckLabel("reason", why)
		},
		Workloads: map[string]WorkloadCommand{"harbour-flight": {Command: []string{"game", "--once"}, ResultFrom: []string{"fps_mean=mean: (.*)"}, Timeout: 10 * time.Minute},
			"tile-sort": {Command: []string{"sort"}, Lower: []string{"seconds"}}},
		Say: func(text string) { b.mu.Lock(); b.said = append(b.said, text); b.mu.Unlock() },
	}
}

// Agent.

func (b *bench) StartRun(_ context.Context, s run.Start) (run.Run, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.refused != nil {
		return run.Run{}, b.refused
	}
	if b.record != nil {
		return run.Run{}, run.ErrRecording
	}
	b.ids++
	b.record = &run.Run{ID: fmt.Sprintf("019a0000-%04d", b.ids), State: run.Recording, StartedAt: run.Stamp(time.Now()), Results: map[string]run.Result{},
		Labels: run.Labels{Device: cmp.Or(b.name, "unit-oak"), Workload: s.Workload, Supply: b.supply, Setting: s.Setting.From(run.Declared), Variant: s.Variant}}
	if b.misread {
		b.record.Supply = run.SupplyUnknown
	}
	if s.By != ByPlan {
		b.t.Errorf("started by %q", s.By)
	}
	b.runs = append(b.runs, *b.record)
	return *b.record, nil
}

func (b *bench) StopRun(_ context.Context, s run.Stop) (run.Record, error) {
	b.note("stop run")
	b.mu.Lock()
	defer b.mu.Unlock()
	at := slices.IndexFunc(b.runs, func(r run.Run) bool { return r.ID == s.Run })
	r := &b.runs[at]
	if b.stopErr != nil && b.stays {
		if d, err := b.stopErr(run.Record{Run: *r}); err != nil {
			return d, err
		}
	}
	if r.State == run.Recording {
		length := time.Since(r.StartedAt.Time).Seconds()
		r.State, r.DurationS, b.record = run.Finished, &length, nil
		watts := b.watts(r.Cell())
		r.PackageW = &watts
		if w, _ := r.Setting.Watts(); watts > 1.1*w || b.held {
			r.Findings = append(r.Findings, run.Finding{Code: run.SettingDisobeyed, Severity: run.SeverityDoubt, Text: "too much"})
		}
		if r.Supply != b.supply && !b.misread {
			r.State, r.Why = run.Rejected, "the supply changed"
		}
		b.hot = time.Now().Add(20 * time.Second)
		r.Findings = append(r.Findings, b.found...)
		b.found = nil
		if watts == 0 { // no sensor of it
			r.PackageW = nil
		}
	}
	s.Apply(r)
	if b.stopErr != nil && !b.stays {
		return b.stopErr(run.Record{Run: *r})
	}
	return run.Record{Run: *r}, nil
}

func (b *bench) Declare(_ context.Context, s run.Setting, by string) (Status, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.declared = run.Declaration{Setting: s, By: by}
	return Status{}, nil
}

func (b *bench) Ready(ctx context.Context, w run.Want) (run.Readiness, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	r := run.Readiness{Reasons: []run.Reason{}}
	if left := time.Until(b.hot).Seconds(); left > 0 {
		target := 50.0
		r.Reasons = append(r.Reasons, run.Reason{Finding: run.Finding{Code: run.HotStart, Text: "the package is at 80 °C, target 50 °C"}, Target: &target, ExpectedS: &left})
	}
	if w.Supply != run.SupplyUnknown && w.Supply != b.supply {
		r.Reasons = append(r.Reasons, run.Reason{Finding: run.Finding{Code: run.SupplyChanged, Text: "the device is on " + string(b.supply)}, ByHand: true})
	}
	r.Fit = len(r.Reasons) == 0
	return r, ctx.Err()
}

func (b *bench) Status(context.Context) (Status, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := Status{Device: cmp.Or(b.name, "unit-oak"), Supply: b.supply, Sweeps: 10}
	if b.charge != nil {
		charge := *b.charge
		s.ChargeRatio = &charge
	}
	if b.reads != nil {
		reads := *b.reads
		s.SettingRead = &reads
	}
	if b.declared.Setting.Known() {
		declared := b.declared
		s.Declared = &declared
	}
	if b.record != nil {
		r := *b.record
		s.Recording = &r
	}
	return s, nil
}

// Panel.

func (b *bench) Offers() (list []actuators.Offer) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for key := range b.first {
		o := actuators.Offer{Actuator: key, Sets: key, Writable: true, Allowed: &actuators.Limits{}}
		if key == "setting" {
			o.Unit = "W"
		}
		list = append(list, o)
	}
	return list
}

func (b *bench) Sets(key string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	_, ok := b.first[key]
	return ok
}

func (b *bench) now(key string) string {
	if v, ok := b.set[key]; ok {
		return v
	}
	return b.first[key]
}

func (b *bench) Steps(key string, v actuators.Value) ([]actuators.Write, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.stepsErr != nil {
		if err := b.stepsErr(key); err != nil {
			return nil, err
		}
	}
	text := setValue{key, v}.text()
	if text == "" {
		text = b.first[key]
	}
	if text == b.now(key) {
		return nil, nil
	}
	w := actuators.Write{Actuator: key, Path: "/sys/" + key, Text: text, Was: b.now(key)}
	if from, err := run.ParseSetting(b.now(key)); key == "setting" && err == nil {
		is, _ := from.Watts()
		if to, _ := v.Setting.Watts(); to-is > 10 { // a large step upward is two
			half := w
			half.Text = run.Watts(is + 10).String()
			return []actuators.Write{half, w}, nil
		}
	}
	return []actuators.Write{w}, nil
}

func (b *bench) Apply(ctx context.Context, w actuators.Write) error {
	if b.hangs != nil {
		select {
		case <-b.hangs:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.trip == nil {
		b.setUnarmed = true
	}
	if b.applyErr != nil {
		if err := b.applyErr(w); err != nil {
			return err
		}
	}
	b.applied = append(b.applied, w.Actuator+"="+w.Text)
	b.set[w.Actuator] = w.Text
	return ctx.Err()
}

func (b *bench) NotInForce(context.Context) []actuators.Write {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.record != nil && b.record.Workload == "harbour-flight" {
		b.t.Error("the places are read while a run is recorded")
	}
	if b.reverts != nil {
		b.reverts()
	}
	var list []actuators.Write
	for key, v := range b.set {
		if strings.HasPrefix(v, "reads ") {
			list = append(list, actuators.Write{Actuator: key, Path: "/sys/" + key, Text: "set", Was: v})
		}
	}
	return list
}

func (b *bench) Changed() (list []actuators.Write) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for key, v := range b.set {
		if v != b.first[key] {
			list = append(list, actuators.Write{Actuator: key, Path: "/sys/" + key, Text: v, Was: b.first[key]})
		}
	}
	return list
}

func (b *bench) Restore(context.Context) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.restores++
	b.events = append(b.events, "restore")
	if b.restoreErr != nil {
		if err := b.restoreErr(); err != nil {
			return err
		}
	}
	clear(b.set)
	return nil
}

// GuardWatch.

func (b *bench) Arm(trip func(Tripped)) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.armErr != nil {
		return b.armErr
	}
	b.trip = trip
	b.arms++
	return nil
}

func (b *bench) Disarm() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.trip = nil
}

func (b *bench) Expect(run.Supply)  {}
func (b *bench) RunnerBusy(is bool) { b.mu.Lock(); b.busy = is; b.mu.Unlock() }
func (b *bench) Heard()             {}

// trips has a guard trip, as Guards does: once, on a goroutine of its own, disarmed then.
func (b *bench) trips(t Tripped) {
	b.mu.Lock()
	trip := b.trip
	b.trip = nil
	b.mu.Unlock()
	if trip == nil {
		b.t.Error("a guard was to trip, and none watched")
		return
	}
	go trip(t)
}

// JobLink.

func (b *bench) Runner() *RunnerSeen {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.runner == nil {
		return nil
	}
	r := *b.runner
	return &r
}

func (b *bench) Changed_() <-chan struct{} { b.mu.Lock(); defer b.mu.Unlock(); return b.changed }

func (b *bench) comes(r *RunnerSeen) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.runner = r
	close(b.changed)
	b.changed = make(chan struct{})
}

func (b *bench) Carry(ctx context.Context, j Job, begun func()) (JobDone, error) {
	b.mu.Lock()
	if b.running {
		b.t.Error("two jobs at once")
	}
	b.running = true
	b.jobs = append(b.jobs, j)
	job := b.job
	b.mu.Unlock()
	defer func() { b.mu.Lock(); b.running = false; b.mu.Unlock() }()
	begun()
	return job(ctx, j)
}

func (b *bench) Beat(context.Context, Beat) (Order, error) { return Order{}, nil }

// jobsOf gives the bench as a JobLink, whose Changed is another one than the panel's.
type jobsOf struct{ *bench }

func (j jobsOf) Changed() <-chan struct{} { return j.Changed_() }

var (
	_ Agent      = (*bench)(nil)
	_ Panel      = (*bench)(nil)
	_ GuardWatch = (*bench)(nil)
	_ JobLink    = jobsOf{}
)
