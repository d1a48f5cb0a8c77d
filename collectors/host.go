package collectors

import (
	"context"
	"errors"
	"math"
	"time"

	"github.com/shirou/gopsutil/v3/common"
	"github.com/shirou/gopsutil/v3/cpu"
	"github.com/shirou/gopsutil/v3/mem"

	"sweepd/run"
)

// hostLoad reads how busy the CPUs are and how much memory is free, on every
// system, through gopsutil.
type hostLoad struct{ roots Roots }

// NewHost reads CPU load and memory.
func NewHost(roots Roots) Collector { return hostLoad{roots} }

func (hostLoad) Name() string { return "host" }

// hostInterval: the CPU's time is counted in ticks of 1/100 s or coarser, and
// each reading costs the library a file and garbage.
const hostInterval = time.Second

func (h hostLoad) Scan() ([]Offer, []Absence) {
	ctx := h.roots.context()
	return []Offer{{
		Sensors:     []run.Sensor{{ID: run.CPUBusy, Unit: "ratio", Kind: run.Gauge, Source: "cpu.Times", Resolution: 1e-4}},
		MinInterval: hostInterval,
		Open:        func() (Probe, error) { return openCPUBusy(ctx) },
	}, {
		Sensors:     []run.Sensor{{ID: run.MemoryAvailable, Unit: "bytes", Kind: run.Gauge, Source: "mem.VirtualMemory", Resolution: 1}},
		MinInterval: hostInterval,
		Open:        func() (Probe, error) { return &memoryAvailable{ctx: ctx}, nil },
	}}, nil
}

// context hands the roots to gopsutil, which otherwise takes them from the
// environment.
func (r Roots) context() context.Context {
	env := common.EnvMap{}
	if r.Sys != "" {
		env[common.HostSysEnvKey] = r.Sys
	}
	if r.Proc != "" {
		env[common.HostProcEnvKey] = r.Proc
	}
	if r.Etc != "" {
		env[common.HostEtcEnvKey] = r.Etc
	}
	return context.WithValue(context.Background(), common.EnvKey, env)
}

var (
	errNoCPUTimes = errors.New("cpu.Times: the system reports no CPU times")
	errNoTicks    = errors.New("cpu.Times: no CPU time was counted for 5 s")
	errNoMemory   = errors.New("mem.VirtualMemory: the system reports no memory")
)

// cpuBusy gives the part of the CPUs' time, since the last reading, in which they
// did something. A reading in the same tick as the one before it, or as the
// opening, gives none.
type cpuBusy struct {
	ctx    context.Context
	last   cpu.TimesStat
	lastAt time.Duration // of the reading that gave last; of the first reading while last is from the opening
	read   bool
	repeat repeatedError
}

// ticksLate is the time without CPU time after which something is wrong: ticks
// come every 1/100 s, on Windows every 1/64 s.
const ticksLate = 5 * time.Second

func openCPUBusy(ctx context.Context) (Probe, error) {
	p := &cpuBusy{ctx: ctx}
	times, err := cpuTimes(ctx)
	p.last = times
	return p, err
}

func cpuTimes(ctx context.Context) (cpu.TimesStat, error) {
	times, err := cpu.TimesWithContext(ctx, false)
	if err != nil {
		return cpu.TimesStat{}, err
	}
	if len(times) == 0 { // what the library gives where it cannot read them
		return cpu.TimesStat{}, errNoCPUTimes
	}
	return times[0], nil
}

func (p *cpuBusy) Read(now time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	if !p.read {
		p.read, p.lastAt = true, now
	}
	times, err := cpuTimes(p.ctx)
	if err != nil {
		return p.repeat.of(err)
	}
	busy, ok := busyRatio(p.last, times)
	if !ok && now-p.lastAt > ticksLate {
		return errNoTicks
	}
	if !ok {
		return nil
	}
	p.last, p.lastAt = times, now
	dst[0] = busy
	return nil
}

func (*cpuBusy) Close() error { return nil }

// busyRatio is 1 - (idle + iowait) / sum of the time counted from one reading to
// the next, 0 to 1. Guest time is in user time already, so it is left out of
// the sum (proc(5), /proc/stat). A part that fell, as iowait may, counts as 0.
// Not ok where nothing was counted.
func busyRatio(from, to cpu.TimesStat) (busy float64, ok bool) {
	grown := func(a, b float64) float64 { return max(0, b-a) }
	idle := grown(from.Idle, to.Idle) + grown(from.Iowait, to.Iowait)
	work := grown(from.User, to.User) + grown(from.Nice, to.Nice) + grown(from.System, to.System) +
		grown(from.Irq, to.Irq) + grown(from.Softirq, to.Softirq) + grown(from.Steal, to.Steal)
	if idle+work <= 0 {
		return math.NaN(), false
	}
	return 1 - idle/(idle+work), true
}

// memoryAvailable gives the memory that programs can have without swapping.
type memoryAvailable struct {
	ctx    context.Context
	repeat repeatedError
}

func (p *memoryAvailable) Read(_ time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	m, err := mem.VirtualMemoryWithContext(p.ctx)
	if err != nil {
		return p.repeat.of(err)
	}
	if m.Total == 0 { // what the library gives where it cannot read it
		return errNoMemory
	}
	dst[0] = float64(m.Available)
	return nil
}

func (*memoryAvailable) Close() error { return nil }

// repeatedError returns one error value for one text, so that a failure that
// stays is reported once.
type repeatedError struct{ last error }

func (r *repeatedError) of(err error) error {
	if r.last == nil || r.last.Error() != err.Error() {
		r.last = err
	}
	return r.last
}
