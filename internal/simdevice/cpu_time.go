package simdevice

import (
	"math"
	"time"
)

// cpuTime is what the kernel counts of its processors: ticks for proc/stat, the
// load average and the pressure.
type cpuTime struct {
	user, system, idle []float64 // s, one for each CPU
	contextSwitches    float64
	interrupts         float64

	running float64    // tasks that run or want to
	waiting float64    // share of time in which a task waits for a CPU
	load    [3]float64 // load averages over 1, 5 and 15 minutes
	stall   pressure

	nextLoad time.Duration
	nextPSI  time.Duration
}

// idleWakeups is how often a second the device wakes up besides what a load causes.
const idleWakeups = 120

// Intervals of the kernel's own averaging.
const (
	loadInterval = 5 * time.Second // LOAD_FREQ, 5*HZ+1: include/linux/sched/loadavg.h of Linux 6.1
	psiInterval  = 2 * time.Second // PSI_FREQ, 2*HZ+1: kernel/sched/psi.c of Linux 6.1
)

func newCPUTime(cpus int) cpuTime {
	c := cpuTime{user: make([]float64, cpus), system: make([]float64, cpus), idle: make([]float64, cpus)}
	for i := range cpus { // the time before the start was spent at rest
		up := upBefore.Seconds()
		c.user[i], c.system[i], c.idle[i] = 0.02*up, 0.01*up, 0.97*up
	}
	return c
}

// pass counts d in which work keeps `threads` CPUs busy by `level` and other
// processes take `background` of every online CPU. It returns the mean busy share.
func (c *cpuTime) pass(d time.Duration, up []bool, threads int, level, background float64) float64 {
	s := d.Seconds()
	total, online := 0.0, 0
	for i := range up {
		if !up[i] {
			continue
		}
		busy := 0.01 + background
		if online < threads {
			busy += level
		}
		online++
		busy = math.Min(busy, 1)
		c.user[i] += 0.85 * busy * s
		c.system[i] += 0.15 * busy * s
		c.idle[i] += (1 - busy) * s
		total += busy
	}
	wanted := float64(threads)*level + background*float64(online)
	c.running = wanted
	c.waiting = math.Min(math.Max(wanted/float64(online)-1, 0), 1)
	c.stall.pass(c.waiting, s)
	c.contextSwitches += (idleWakeups*2 + 900*wanted) * s
	c.interrupts += (idleWakeups + 400*wanted) * s
	return total / float64(online)
}

// average updates the moving averages when their time has come.
func (c *cpuTime) average(now time.Duration) {
	for ; now >= c.nextLoad; c.nextLoad += loadInterval {
		for i, window := range [3]time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute} {
			c.load[i] = relax(c.load[i], c.running, loadInterval, window)
		}
	}
	for ; now >= c.nextPSI; c.nextPSI += psiInterval {
		c.stall.average()
	}
}

// pressure is one line of proc/pressure.
type pressure struct {
	seconds float64    // total stall
	before  float64    // total at the last average
	avg     [3]float64 // percent over 10, 60 and 300 s
}

func (p *pressure) pass(share, s float64) { p.seconds += share * s }

func (p *pressure) average() {
	percent := 100 * (p.seconds - p.before) / psiInterval.Seconds()
	p.before = p.seconds
	for i, window := range [3]time.Duration{10 * time.Second, time.Minute, 5 * time.Minute} {
		p.avg[i] = relax(p.avg[i], percent, psiInterval, window)
	}
}
