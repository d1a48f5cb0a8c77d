package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"sweepd/agent"
	"sweepd/collectors"
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
	CPU     float64   // us, of all threads
	Wakeups float64   // voluntary context switches of all threads
	Allocs  float64   // objects on the heap
	Late    []float64 // us after the grid, of every sweep, see lateness
}

// pacedLoop is a loop that goes until it is closed.
type pacedLoop interface {
	sweeps() uint64
	close() error
	late() []time.Duration // moments of the sweeps; after close
}

func (t *loopTask) do() (cost loopCost, err error) {
	runtime.GOMAXPROCS(1) // as the program has it
	loop, err := t.start()
	if err != nil {
		return cost, err
	}
	time.Sleep(t.WarmUp)
	before, sweeps := usageNow(), loop.sweeps()
	time.Sleep(t.For)
	after, n := usageNow(), float64(loop.sweeps()-sweeps)
	if err := loop.close(); err != nil {
		return cost, err
	}
	if n < 2 {
		return cost, errors.New("no sweeps were taken")
	}
	cost.CPU = micros(after.cpu-before.cpu) / n
	cost.Wakeups = float64(after.switches-before.switches) / n
	cost.Allocs = float64(after.allocs-before.allocs) / n
	cost.Late = lateness(loop.late(), t.Interval)
	return cost, nil
}

func (t *loopTask) start() (pacedLoop, error) {
	if t.Bare != nil {
		return startBare(t.Bare, t.Interval)
	}
	return startAgentLoop(t.Sys, t.Interval)
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
type bareLoop struct {
	timer *os.File
	fds   []int
	count atomic.Uint64
	at    []time.Duration
	done  chan error
}

func startBare(paths []string, interval time.Duration) (pacedLoop, error) {
	b := &bareLoop{done: make(chan error, 1), at: make([]time.Duration, 0, 1<<16)}
	for _, path := range paths {
		fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			return nil, fmt.Errorf("open %s: %w", path, err)
		}
		b.fds = append(b.fds, fd)
	}
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		return nil, err
	}
	b.timer = os.NewFile(uintptr(fd), "timerfd")
	tick := unix.NsecToTimespec(int64(interval))
	if err := unix.TimerfdSettime(fd, 0, &unix.ItimerSpec{Interval: tick, Value: tick}, nil); err != nil {
		return nil, err
	}
	go b.loop()
	return b, nil
}

func (b *bareLoop) loop() {
	var ticks [8]byte
	var text [512]byte
	for {
		if _, err := b.timer.Read(ticks[:]); err != nil {
			if errors.Is(err, os.ErrClosed) {
				err = nil
			}
			b.done <- err
			return
		}
		var now unix.Timespec
		_ = unix.ClockGettime(unix.CLOCK_MONOTONIC, &now)
		b.at = append(b.at, time.Duration(now.Nano()))
		for _, fd := range b.fds {
			if n, err := unix.Pread(fd, text[:], 0); n <= 0 {
				b.done <- fmt.Errorf("pread gave %d bytes: %w", n, err)
				return
			}
		}
		b.count.Add(1)
	}
}

func (b *bareLoop) sweeps() uint64        { return b.count.Load() }
func (b *bareLoop) late() []time.Duration { return b.at }

func (b *bareLoop) close() error {
	return errors.Join(b.timer.Close(), <-b.done)
}

// agentLoop is the real agent recording a run from the real collectors; what
// would be stored is dropped.
type agentLoop struct {
	agent  *agent.Agent
	set    *collectors.Set
	cancel context.CancelFunc
	done   chan error
	snap   agent.Snapshot
	dropped
}

// dropped is a Recorder that remembers nothing but when sweeps were taken.
type dropped struct{ at []time.Duration }

func (d *dropped) BeginRun(context.Context, agent.Detail) error { return nil }

func (d *dropped) Append(_ context.Context, b agent.Batch) error {
	for i := range b.Sweeps {
		d.at = append(d.at, b.Sweeps[i].At.Mono)
	}
	return nil
}

func (d *dropped) Trace(context.Context, string) (agent.Trace, error) { return noTrace{}, nil }
func (d *dropped) FinishRun(context.Context, agent.Detail) error      { return nil }
func (d *dropped) Unfinished(context.Context) ([]agent.Detail, error) { return nil, nil }

var _ agent.Recorder = (*dropped)(nil)

type noTrace struct{}

func (noTrace) Sensors() []collectors.Sensor       { return nil }
func (noTrace) Each(func(agent.Sweep) error) error { return nil }

func startAgentLoop(sys string, interval time.Duration) (pacedLoop, error) {
	l := &agentLoop{set: collectors.NewSet(collectors.SetOptions{}, collectors.NewHwmon(collectors.Roots{Sys: sys})), done: make(chan error, 1)}
	l.at = make([]time.Duration, 0, 1<<16)
	var err error
	l.agent, err = agent.New(agent.Options{Device: "unit-oak", Sensors: l.set, Recorder: &l.dropped, Interval: interval})
	if err != nil {
		return nil, errors.Join(err, l.set.Close())
	}
	ctx, cancel := context.WithCancel(context.Background())
	l.cancel = cancel
	go func() { l.done <- l.agent.Run(ctx) }()
	if _, err := l.agent.StartRun(ctx, agent.Start{Workload: "tile-sort"}); err != nil {
		return nil, errors.Join(err, l.close())
	}
	return l, nil
}

func (l *agentLoop) sweeps() uint64 {
	l.agent.Snapshot(&l.snap)
	return l.snap.Sweeps
}

// late leaves out the ends of the run, which are not paced.
func (l *agentLoop) late() []time.Duration { return l.at[1 : len(l.at)-1] }

func (l *agentLoop) close() error {
	l.cancel()
	<-l.done // the run has nothing to be judged from
	return l.set.Close()
}
