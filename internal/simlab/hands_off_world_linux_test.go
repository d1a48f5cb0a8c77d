package simlab_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"sweepd/actuators"
	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// world is a device on the bench that does a plan by itself, all in this process and on one
// simulated clock: everything but the runner's programs and the person is the real thing.
// An agent that is killed leaves what it had on the disk, and the next one finds it.
type world struct {
	t       *testing.T
	device  *simdevice.Device
	began   time.Time
	options worldOptions
	set     *collectors.Set

	slept   atomic.Int64 // ns
	clockBy atomic.Int64 // ns by which the wall clock was set
	full    atomic.Bool  // the disk is

	happening sync.WaitGroup // what goes wrong

	log  sync.Mutex
	said []string // what the day and the world said; guarded by log

	mu    sync.Mutex // a stepped agent is for one goroutine at a time; guards the rest, too
	life  *life
	lives int
	did   []string // what the person did
	came  int      // mishaps that came about
	jobs  int      // that the runner began
	// happens says what happens in a job, by its number from 1.
	happens func(job int) mishap
}

type worldOptions struct {
	config  simdevice.Config
	allowed map[string]actuators.Limits
	guards  testday.GuardLimits
	plays   time.Duration
	seed    uint64
}

// life is an agent from its start to its end or its death.
type life struct {
	w       *world
	dir     string
	dead    atomic.Bool
	store   *sqlite.Store
	agent   *agent.Agent
	first   *actuators.FirstValues
	guards  *testday.Guards
	link    *testday.RunnerLink
	day     *testday.HandsOffDay
	end     context.CancelFunc
	ctx     context.Context
	drivers sync.WaitGroup
}

var errDead = errors.New("this agent is dead")

// Now is the device's clock: in a suspend it goes on, and the monotonic clock does not.
func (w *world) Now() run.Instant {
	now := w.device.Now()
	boot := time.Hour + now.Sub(w.began)
	return run.Instant{Wall: now.Add(time.Duration(w.clockBy.Load())), Mono: boot - time.Duration(w.slept.Load()), Boot: boot}
}

// newWorld makes a device. It is no part of a synctest bubble, since those who read sensors
// wait for them in the kernel, which a bubble does not take for waiting.
func newWorld(t *testing.T, o worldOptions) *world {
	t.Helper()
	tree, err := simdevice.MakeTempDir("hands-off")
	if err != nil {
		t.Fatal(err)
	}
	began := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) // as a bubble does
	d, err := simdevice.New(tree, o.config, began)
	if err != nil {
		t.Fatal(err)
	}
	w := &world{t: t, device: d, began: began, options: o}
	roots := collectors.Roots{Sys: d.SysRoot(), Proc: d.ProcRoot(), Etc: d.EtcRoot()}
	w.set = collectors.NewSet(collectors.SetOptions{Patience: time.Minute, Elapsed: func() time.Duration { return w.Now().Mono }},
		collectors.NewPowerSupply(roots), collectors.NewPowercap(roots), collectors.NewFirmwareAttributes(roots), collectors.NewHwmon(roots), collectors.NewCPUs(roots))
	w.set.Sweep(w.Now().Mono)
	w.set.ReadSlow(w.Now().Mono)
	t.Cleanup(func() {
		if err := errors.Join(w.set.Close(), d.Close(), os.RemoveAll(tree)); err != nil {
			t.Error(err)
		}
	})
	return w
}

// locked is the agent for whoever commands it, one at a time and with the device as it is
// at that moment.
type locked struct {
	*agent.Agent
	l *life
}

func (a locked) enter() (leave func(), err error) {
	a.l.w.mu.Lock()
	if a.l.dead.Load() {
		a.l.w.mu.Unlock()
		return nil, errDead
	}
	return a.l.w.mu.Unlock, a.l.w.catchUpLocked()
}

func (a locked) StartRun(ctx context.Context, s run.Start) (r run.Run, err error) {
	leave, err := a.enter()
	if err != nil {
		return r, err
	}
	defer leave()
	return a.Agent.StartRun(ctx, s)
}

func (a locked) StopRun(ctx context.Context, s run.Stop) (d run.Record, err error) {
	leave, err := a.enter()
	if err != nil {
		return d, err
	}
	defer leave()
	return a.Agent.StopRun(ctx, s)
}

func (a locked) Declare(ctx context.Context, s run.Setting, by string) error {
	leave, err := a.enter()
	if err != nil {
		return err
	}
	defer leave()
	return a.Agent.Declare(ctx, s, by)
}

func (a locked) Ready(ctx context.Context, w run.Want) (r run.Readiness, err error) {
	leave, err := a.enter()
	if err != nil {
		return r, err
	}
	defer leave()
	return a.Agent.Ready(ctx, w)
}

// disk is a store on a disk that may be full, and whose agent may be dead.
type disk struct {
	*sqlite.Store
	l *life
}

var errFullDisk = errors.New("no space left on device")

func (d disk) check() error {
	switch {
	case d.l.dead.Load():
		return errDead
	case d.l.w.full.Load():
		return errFullDisk
	}
	return nil
}

func (d disk) BeginRun(ctx context.Context, r run.Record) error {
	return errors.Join(d.check(), d.ok(func() error { return d.Store.BeginRun(ctx, r) }))
}

func (d disk) Append(ctx context.Context, b run.Batch) error {
	return errors.Join(d.check(), d.ok(func() error { return d.Store.Append(ctx, b) }))
}

func (d disk) FinishRun(ctx context.Context, r run.Record) error {
	return errors.Join(d.check(), d.ok(func() error { return d.Store.FinishRun(ctx, r) }))
}

func (d disk) ok(f func() error) error {
	if d.check() != nil {
		return nil
	}
	return f()
}

// liveLocked starts an agent on a folder of data; the world has to be locked.
func (w *world) liveLocked(dir string) {
	w.t.Helper()
	l := &life{w: w, dir: dir}
	must := func(err error) {
		if err != nil {
			w.t.Helper()
			w.t.Fatal(err)
		}
	}
	var err error
	l.ctx, l.end = context.WithCancel(context.Background())
	l.store, err = sqlite.Open(dir, sqlite.Options{Unsynced: true})
	must(err)
	sys := w.device.SysRoot()
	l.guards = testday.NewGuards(testday.GuardOptions{Limits: w.options.guards, HotLimit: w.set.HotLimit, Now: w.Now})
	ids := rand.NewChaCha8([32]byte{byte(w.options.seed), byte(w.options.seed >> 8), byte(w.lives)})
	l.agent, err = agent.New(agent.Options{
		Device: w.device.Config().Name, Sensors: w.set, Recorder: disk{l.store, l}, History: l.store, Clock: w, Stepped: true, Guard: l.guards,
		NewID: func(t time.Time) (string, error) { return run.NewID(t, ids) },
	})
	must(err)
	must(l.agent.Restore(l.ctx))
	machine := &simlab.Machine{Device: w.device, Before: func(actuators.Write, string) error {
		if l.dead.Load() {
			return errDead
		}
		return nil
	}}
	l.first, err = actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: sys})
	must(err)
	_, err = l.first.Restore(l.ctx, machine) // the first thing that an agent does
	if err != nil {
		w.say("at the start: %v", err)
	}
	panel := actuators.NewPanel(actuators.PanelOptions{Actuators: allActuators(sys),
		Machine: machine, FirstValues: l.first, Allowed: w.options.allowed})
	l.link = testday.NewRunnerLink(l.guards.Heard)
	local := &testday.Local{Recorder: locked{l.agent, l}, Store: l.store, Lower: []string{"duration"}}
	l.day = testday.NewHandsOffDay(testday.HandsOffOptions{
		Agent: local, Panel: panel, Guards: l.guards, Jobs: l.link, Reserve: w.options.guards.WithDefaults().Reserve, Dir: dir, Settle: 4 * time.Second,
		Plan: func(ctx context.Context, device string) (testday.Plan, error) {
			return testday.ReadPlanOf(ctx, l.store, device)
		},
		Reject: func(ctx context.Context, id, why string) error {
			return local.Publish(func() (run.Event, error) {
				d, err := testday.Decide(ctx, l.store, id, run.Reject, why, w.wall())
				return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
			})
		},
		Workloads: map[string]testday.WorkloadCommand{"harbour-flight": {Command: []string{"harbour-flight"}, Timeout: 2 * w.options.plays}},
		Say:       func(text string) { w.say("%s", text) },
	})
	w.life = l
	w.lives++
	l.drivers.Go(func() { newRunner(l).live() })
}

// wall is what the clock on the wall says.
func (w *world) wall() time.Time { return w.Now().Wall }

// kill has the agent die at this moment: nothing that it does from now on reaches the disk
// or the device. meanwhile happens before the next one starts.
func (w *world) kill(meanwhile func()) {
	w.mu.Lock()
	old := w.life
	old.dead.Store(true)
	dir := filepath.Join(w.t.TempDir(), "data")
	if err := os.CopyFS(dir, os.DirFS(old.dir)); err != nil {
		w.t.Error(err)
	}
	w.mu.Unlock()
	old.close()
	w.mu.Lock()
	meanwhile()
	err := w.catchUpLocked()
	w.liveLocked(dir)
	w.mu.Unlock()
	w.check(err)
	if err := w.life.day.Start(w.life.ctx); err != nil {
		w.t.Error(err)
	}
}

// close ends an agent, dead or alive.
func (l *life) close() {
	l.end()
	l.day.Close()
	l.drivers.Wait()
	l.w.mu.Lock()
	defer l.w.mu.Unlock()
	if err := errors.Join(l.first.Close(), l.store.Close()); err != nil {
		l.w.t.Error(err)
	}
}

// catchUpLocked brings the device to this moment.
func (w *world) catchUpLocked() error {
	w.device.AdvanceTo(time.Now().Add(time.Duration(w.slept.Load())))
	return w.device.Flush()
}

// suspend sends the device to sleep for a while: no timer counts it.
func (w *world) suspend(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	_ = w.catchUpLocked()
	w.device.Suspend(d)
	w.slept.Add(int64(d))
}

// say is what the log of the day has.
func (w *world) say(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	w.t.Logf("%s %s", time.Now().Format(time.TimeOnly), text)
	w.log.Lock()
	defer w.log.Unlock()
	w.said = append(w.said, text)
}

// goAlong lets the device and the agent go along with the clock until ctx ends.
func (w *world) goAlong(ctx context.Context) {
	const fine, coarse = 250 * time.Millisecond, time.Second
	idle := time.Duration(0)
	for ctx.Err() == nil {
		w.mu.Lock()
		step := coarse
		switch {
		case w.life.agent.Live().Recording != nil:
			step = fine
		case w.life.guards.Every() > 0:
			step = 2 * fine
		}
		w.mu.Unlock()
		time.Sleep(step)
		w.mu.Lock()
		if w.life.dead.Load() {
			w.mu.Unlock()
			continue
		}
		err := w.catchUpLocked()
		if now := w.Now().Boot; err == nil && now-idle >= simlab.IdleEvery {
			idle = now
			err = w.life.agent.SweepIdle(ctx)
		}
		if err == nil {
			err = w.life.agent.Step()
		}
		if err != nil && !errors.Is(err, errFullDisk) {
			w.t.Error(err)
		}
		w.mu.Unlock()
	}
}
