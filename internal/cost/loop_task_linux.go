package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"time"

	"golang.org/x/sys/unix"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/run"
)

// loopTask paces a loop for a time and tells what it cost.
type loopTask struct {
	Bare     []string // files of the bare loop; none: the agent's loop
	Sys      string   // root of the agent's sensors
	Interval time.Duration
	WarmUp   time.Duration
	For      time.Duration
}

// loopCost is what a loop cost, each sweep.
type loopCost struct {
	CPU            float64 // us, of all threads
	Wakeups        float64 // voluntary context switches of all threads
	Allocs         float64 // objects on the heap
	Late50, Late99 float64 // us after the grid, quantiles over the sweeps, see lateness
}

func (t *loopTask) do() (loopCost, error) {
	runtime.GOMAXPROCS(1) // as the program has it
	if t.Bare != nil {
		return t.bareLoop()
	}
	return t.agentLoop()
}

// usage is what this process has used.
type usage struct {
	cpu      time.Duration
	switches int64
	allocs   uint64
}

func usageNow() usage {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	var r unix.Rusage
	_ = unix.Getrusage(unix.RUSAGE_SELF, &r) // cannot fail for oneself
	var ts unix.Timespec
	_ = unix.ClockGettime(unix.CLOCK_PROCESS_CPUTIME_ID, &ts) // in nanoseconds, where rusage may count ticks
	return usage{cpu: time.Duration(ts.Nano()), switches: r.Nvcsw, allocs: m.Mallocs}
}

// costOf n sweeps during which this process's usage grew from before to after;
// at are the moments of these and others, on one grid.
func (t *loopTask) costOf(n float64, before, after usage, at []time.Duration) (loopCost, error) {
	if n < 2 {
		return loopCost{}, errors.New("no sweeps were taken")
	}
	late := lateness(at, t.Interval)
	return loopCost{
		CPU:     micros(after.cpu-before.cpu) / n,
		Wakeups: float64(after.switches-before.switches) / n,
		Allocs:  float64(after.allocs-before.allocs) / n,
		Late50:  quantile(0.5, late),
		Late99:  quantile(0.99, late),
	}, nil
}

// lateness is how long after their grid the sweeps came, in us. The grid lies
// where one of the sweeps is and from which all are the least late in sum: on
// the earliest of those that came in time.
func lateness(at []time.Duration, interval time.Duration) []float64 {
	best, least := []float64(nil), math.Inf(1)
	for _, grid := range at {
		late, sum := make([]float64, len(at)), 0.0
		for i, x := range at {
			off := (x - grid) % interval
			if off < 0 {
				off += interval
			}
			late[i] = micros(off)
			sum += late[i]
		}
		if sum < least {
			best, least = late, sum
		}
	}
	return best
}

// bareLoop reads files at the ticks of a timer descriptor and does nothing
// else.
func (t *loopTask) bareLoop() (cost loopCost, err error) {
	var fds []int
	for _, path := range t.Bare {
		fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			return cost, fmt.Errorf("open %s: %w", path, err)
		}
		fds = append(fds, fd)
	}
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		return cost, err
	}
	timer := os.NewFile(uintptr(fd), "timerfd") // through the runtime's poller, as the agent
	defer timer.Close()
	tick := unix.NsecToTimespec(int64(t.Interval))
	if err := unix.TimerfdSettime(fd, 0, &unix.ItimerSpec{Interval: tick, Value: tick}, nil); err != nil {
		return cost, err
	}
	first, last := int(t.WarmUp/t.Interval), int((t.WarmUp+t.For)/t.Interval)
	at := make([]time.Duration, 0, last)
	var before usage
	var ticks [8]byte
	var text [512]byte
	for i := range last {
		if i == first {
			before = usageNow()
		}
		if _, err := timer.Read(ticks[:]); err != nil {
			return cost, err
		}
		var now unix.Timespec
		_ = unix.ClockGettime(unix.CLOCK_MONOTONIC, &now)
		at = append(at, time.Duration(now.Nano()))
		for _, fd := range fds {
			if n, err := unix.Pread(fd, text[:], 0); n <= 0 {
				return cost, fmt.Errorf("pread gave %d bytes: %w", n, err)
			}
		}
	}
	return t.costOf(float64(last-first), before, usageNow(), at)
}

// agentLoop is the real agent recording a run from the real collectors; what
// would be stored is dropped.
func (t *loopTask) agentLoop() (cost loopCost, err error) {
	set := collectors.NewSet(collectors.SetOptions{}, collectors.NewHwmon(collectors.Roots{Sys: t.Sys}))
	defer func() { err = errors.Join(err, set.Close()) }()
	d := dropped{at: make([]time.Duration, 0, 1<<16)}
	a, err := agent.New(agent.Options{Device: "unit-oak", Sensors: set, Recorder: &d, Interval: t.Interval})
	if err != nil {
		return cost, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	if _, err := a.StartRun(ctx, run.Start{Workload: "tile-sort"}); err != nil {
		return cost, err
	}
	var snap agent.Snapshot
	sweeps := func() uint64 {
		a.Snapshot(&snap)
		return snap.Sweeps
	}
	time.Sleep(t.WarmUp)
	before, first := usageNow(), sweeps()
	time.Sleep(t.For)
	after, last := usageNow(), sweeps()
	cancel()
	<-done                                                                   // the run has nothing to be judged from
	return t.costOf(float64(last-first), before, after, d.at[1:len(d.at)-1]) // the ends of a run are not paced
}

// dropped is a Recorder that remembers nothing but when sweeps were taken.
type dropped struct{ at []time.Duration }

func (d *dropped) BeginRun(context.Context, run.Record) error { return nil }

func (d *dropped) Append(_ context.Context, b run.Batch) error {
	for i := range b.Sweeps {
		d.at = append(d.at, b.Sweeps[i].At.Mono)
	}
	return nil
}

func (d *dropped) Trace(context.Context, string) (run.Trace, error) { return noTrace{}, nil }
func (d *dropped) FinishRun(context.Context, run.Record) error      { return nil }
func (d *dropped) Correct(context.Context, string, run.Correction) (run.Record, error) {
	return run.Record{}, nil
}
func (d *dropped) Unfinished(context.Context, string) ([]run.Record, error) { return nil, nil }
func (d *dropped) CheckPlace(context.Context) error                         { return nil }
func (d *dropped) KeepDeclaration(context.Context, string, run.Declaration) error {
	return nil
}

type noTrace struct{}

func (noTrace) Sensors() []run.Sensor            { return nil }
func (noTrace) Each(func(run.Sweep) error) error { return nil }
func (noTrace) Lost() []run.Loss                 { return nil }
