package simlab

import (
	"context"
	"errors"
	"math/rand/v2"
	"time"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/judge"
	"sweepd/run"
)

// Bench is one simulated device on the bench.
type Bench struct {
	Device *simdevice.Device
	Agent  *agent.Agent
	Set    *collectors.Set

	clock    *clock
	options  agent.Options
	interval time.Duration
	lastIdle time.Duration // monotonic time of the last idle sweep
	idle     bool          // no run is recording, so idle sweeps are wanted
}

// Options of a Bench. Recorder and Collectors are required.
type Options struct {
	Recorder   agent.Recorder
	Collectors func(collectors.Roots) []collectors.Collector
	Start      time.Time
	Seed       uint64        // of the run ids
	Interval   time.Duration // between sweeps; 0 is the agent's default
	Facts      func(collectors.Roots) map[string]string
	Thresholds judge.Thresholds
}

// IdleEvery is how often the bench has an idle sweep taken between runs.
const IdleEvery = 10 * time.Second

// clock is the device's time. Mono stands still while the device sleeps.
type clock struct {
	device *simdevice.Device
	start  time.Time
	slept  time.Duration
	set    time.Duration // by which the wall clock was set
}

// Now reads the clocks. A device has been up for an hour when its bench starts.
func (c *clock) Now() run.Instant {
	now := c.device.Now()
	boot := time.Hour + now.Sub(c.start)
	return run.Instant{Wall: now.Add(c.set), Mono: boot - c.slept, Boot: boot}
}

// New puts a device on the bench. Its tree lies in dir.
func New(dir string, cfg simdevice.Config, o Options) (*Bench, error) {
	device, err := simdevice.New(dir, cfg, o.Start)
	if err != nil {
		return nil, err
	}
	c := &clock{device: device, start: o.Start}
	roots := collectors.Roots{Sys: device.SysRoot(), Proc: device.ProcRoot(), Etc: device.EtcRoot()}
	set := collectors.NewSet(collectors.SetOptions{Patience: time.Minute}, o.Collectors(roots)...)
	ids := rand.NewChaCha8([32]byte{byte(o.Seed), byte(o.Seed >> 8), 's', 'i', 'm'})
	opts := agent.Options{
		Device: device.Config().Name, Sensors: set, Recorder: o.Recorder, Clock: c, Stepped: true,
		Interval: o.Interval, Thresholds: o.Thresholds,
		NewID: func(t time.Time) (string, error) { return run.NewID(t, ids) },
	}
	if o.Facts != nil {
		opts.Facts = func() map[string]string { return o.Facts(roots) }
	}
	a, err := agent.New(opts)
	if err != nil {
		return nil, errors.Join(err, set.Close(), device.Close())
	}
	interval := o.Interval
	if interval == 0 {
		interval = agent.DefaultInterval
	}
	return &Bench{Device: device, Agent: a, Set: set, clock: c, options: opts, interval: interval, idle: true}, nil
}

// KillAgent has the agent die, and starts the next one.
func (b *Bench) KillAgent() error {
	next, err := agent.New(b.options)
	if err != nil {
		return err
	}
	b.Agent, b.idle = next, true
	return next.Restore(context.Background())
}

// Close releases the sensors and removes the device's tree.
func (b *Bench) Close() error { return errors.Join(b.Set.Close(), b.Device.Close()) }

// Now is the bench's time.
func (b *Bench) Now() time.Time { return b.Device.Now() }

// Pass lets time go by while the agent samples.
func (b *Bench) Pass(d time.Duration) error {
	for d > 0 {
		step := min(d, b.interval)
		b.Device.Advance(step)
		d -= step
		if err := b.sample(); err != nil {
			return err
		}
	}
	return nil
}

// Rest lets time go by between runs, a step for each idle sweep.
func (b *Bench) Rest(d time.Duration) error {
	for d > 0 {
		step := min(d, IdleEvery)
		b.Device.Advance(step)
		d -= step
		if err := b.sample(); err != nil {
			return err
		}
	}
	return nil
}

func (b *Bench) sample() error {
	if err := b.Device.Flush(); err != nil {
		return err
	}
	now := b.clock.Now().Mono
	if b.idle && now-b.lastIdle >= IdleEvery {
		b.lastIdle = now
		return b.Agent.SweepIdle(context.Background())
	}
	return b.Agent.Step()
}

// Suspend sends the device to sleep for a while.
func (b *Bench) Suspend(d time.Duration) error {
	b.Device.Suspend(d)
	b.clock.slept += d
	return b.Device.Flush()
}

// SetClock moves the wall clock by d.
func (b *Bench) SetClock(d time.Duration) { b.clock.set += d }

// Start starts a run now.
func (b *Bench) Start(s run.Start) (run.Run, error) {
	if err := b.Device.Flush(); err != nil {
		return run.Run{}, err
	}
	r, err := b.Agent.StartRun(context.Background(), s)
	b.idle = err != nil
	return r, err
}

// Recording tells the bench that somebody else started or stopped a run on its
// agent: idle sweeps belong between runs.
func (b *Bench) Recording(on bool) { b.idle = !on }

// Stop stops the run that is recording.
func (b *Bench) Stop(s run.Stop) (run.Record, error) {
	if err := b.Device.Flush(); err != nil {
		return run.Record{}, err
	}
	d, err := b.Agent.StopRun(context.Background(), s)
	b.idle = true
	return d, err
}

// Play plays a workload for d as one run and gives its result; 0 means until its
// work is done.
func (b *Bench) Play(w simdevice.Workload, s run.Start, d time.Duration) (run.Record, simdevice.Means, error) {
	s.Workload = w.Name
	if _, err := b.Start(s); err != nil {
		return run.Record{}, simdevice.Means{}, err
	}
	before := b.Device.Truth()
	if err := b.work(w, d); err != nil {
		return run.Record{}, simdevice.Means{}, err
	}
	played, _ := b.Device.StopWorkload()
	truth := simdevice.Between(before, b.Device.Truth())
	detail, err := b.Stop(run.Stop{Results: Results(played)})
	return detail, truth, err
}

// longestWork ends a workload whose work is never done.
const longestWork = time.Hour

// work starts a workload and lets time go by: d, or until its work is done.
func (b *Bench) work(w simdevice.Workload, d time.Duration) error {
	b.Device.StartWorkload(w)
	if d > 0 {
		return b.Pass(d)
	}
	for {
		if err := b.Pass(b.interval); err != nil {
			return err
		}
		p, playing := b.Device.Score()
		if !playing || p.Duration >= longestWork || p.Duration.Seconds() >= p.Value {
			return nil
		}
	}
}
