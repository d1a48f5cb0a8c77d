package agent

import (
	"math"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// Domain is a part of the device whose energy is counted.
type Domain int

const (
	DomainPackage Domain = iota
	DomainCore
	DomainGPU
	DomainBattery // what left the batteries; what goes in is not counted
	domains
)

// String is the domain's value of the label "domain" in metrics.
func (d Domain) String() string { return [...]string{"package", "core", "gpu", "battery"}[d] }

// Domains are all domains, in order.
func Domains() []Domain { return []Domain{DomainPackage, DomainCore, DomainGPU, DomainBattery} }

// LabelledEnergy is the energy counted under one set of labels since the agent
// started.
type LabelledEnergy struct {
	Labels run.Labels
	RunID  string // of the last run under these labels; "" for idle ones
	Joules [domains]float64
	Known  [domains]bool // false where the device does not tell
	// Until is the time of the last sweep under these labels; Current tells
	// whether they are in force.
	Until   time.Duration
	Current bool
}

// ledger integrates power between sweeps at the agent's own cadence, under the
// labels in force between them. Totals are kept for the agent's life, so that a
// cell measured again goes on counting.
type ledger struct {
	entries  map[run.Cell]*LabelledEnergy
	current  *LabelledEnergy
	counters []judge.CounterRise // by position in a sweep
}

// maxLedgerGap is the longest time between two sweeps that is integrated over;
// more is unknown rather than guessed. Idle sweeps come at most an hour apart,
// and counters are exact over any time, so it binds the trapezoid alone.
const maxLedgerGap = 65 * time.Second

// under makes labels the ones in force.
func (l *ledger) under(labels run.Labels, runID string, now time.Duration) {
	if l.entries == nil {
		l.entries = map[run.Cell]*LabelledEnergy{}
	}
	if l.current != nil {
		l.current.Current = false
		l.current.Until = now
	}
	e := l.entries[labels.Cell()]
	if e == nil {
		e = &LabelledEnergy{Labels: labels}
		l.entries[labels.Cell()] = e
	}
	e.RunID, e.Current, e.Until = runID, true, now
	l.current = e
}

// add counts the interval between two sweeps under the labels in force. The first sweep
// has none before it: prev is nil.
func (l *ledger) add(index *judge.SensorIndex, prev, cur []float64, dt, now time.Duration, prevDischarge, discharge float64) {
	joules := [domains]float64{
		DomainPackage: l.counted(cur, index.PackageEnergy, now),
		DomainCore:    l.counted(cur, index.CoreEnergy, now),
		DomainGPU:     l.counted(cur, index.GPUEnergy, now),
		DomainBattery: math.NaN(),
	}
	if l.current == nil || prev == nil {
		return
	}
	l.current.Until = now
	for d, power := range [domains][]int{DomainPackage: index.PackagePower, DomainCore: index.CorePower, DomainGPU: index.GPUPower} {
		if math.IsNaN(joules[d]) {
			joules[d] = trapezoid(judge.Sum(prev, power), judge.Sum(cur, power), dt)
		}
	}
	joules[DomainBattery] = trapezoid(math.Max(prevDischarge, 0), math.Max(discharge, 0), dt)
	for d, x := range joules {
		l.count(Domain(d), x)
	}
}

func (l *ledger) count(d Domain, joules float64) {
	if math.IsNaN(joules) {
		return
	}
	l.current.Known[d] = true
	l.current.Joules[d] += joules
}

// counted is the energy since the last sweep by its counters; NaN where there are none,
// or where one is missing, leapt or was reset.
func (l *ledger) counted(cur []float64, counters []int, now time.Duration) float64 {
	for len(l.counters) < len(cur) {
		l.counters = append(l.counters, judge.CounterRise{})
	}
	total := 0.0
	for _, i := range counters {
		x := judge.At(cur, i)
		if math.IsNaN(x) {
			l.counters[i], total = judge.CounterRise{}, x
			continue
		}
		joules, believed := l.counters[i].Next(now, x)
		if !believed {
			joules = math.NaN()
		}
		total += joules
	}
	if len(counters) == 0 {
		return math.NaN()
	}
	return total
}

// trapezoid is the integral of a power that runs straight from a to b, J; NaN
// where an end is missing or the time is too long to be sure of.
func trapezoid(a, b float64, dt time.Duration) float64 {
	if dt > maxLedgerGap {
		return math.NaN()
	}
	return (a + b) / 2 * dt.Seconds()
}

// exposedFor is how long a label set stays visible after its end, so that its
// last scrape is complete.
const exposedFor = 5 * time.Minute

// visible appends the label sets in force and those that ended recently.
func (l *ledger) visible(dst []LabelledEnergy, now time.Duration) []LabelledEnergy {
	for _, e := range l.entries {
		if e.Current || now-e.Until <= exposedFor {
			dst = append(dst, *e)
		}
	}
	return dst
}

// powers are the present powers of the domains, W, NaN where unknown.
func powers(index *judge.SensorIndex, values []float64, discharge float64) (p [domains]float64) {
	p[DomainPackage] = judge.Sum(values, index.PackagePower)
	p[DomainCore] = judge.Sum(values, index.CorePower)
	p[DomainGPU] = judge.Sum(values, index.GPUPower)
	p[DomainBattery] = discharge
	return p
}
