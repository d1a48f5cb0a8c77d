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
	entries map[run.Cell]*LabelledEnergy
	current *LabelledEnergy
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

// add counts the interval between two sweeps under the labels in force.
func (l *ledger) add(index *judge.SensorIndex, prev, cur []float64, dt, now time.Duration, prevDischarge, discharge float64) {
	if l.current == nil {
		return
	}
	l.current.Until = now
	l.count(DomainPackage, counterOrPower(prev, cur, index.PackageEnergy, index.PackagePower, dt))
	l.count(DomainCore, counterOrPower(prev, cur, index.CoreEnergy, index.CorePower, dt))
	l.count(DomainGPU, counterOrPower(prev, cur, index.GPUEnergy, index.GPUPower, dt))
	l.count(DomainBattery, trapezoid(math.Max(prevDischarge, 0), math.Max(discharge, 0), dt))
}

func (l *ledger) count(d Domain, joules float64) {
	if math.IsNaN(joules) {
		return
	}
	l.current.Known[d] = true
	l.current.Joules[d] += joules
}

// counterOrPower is the energy of an interval by difference from counters, or
// by trapezoid from powers where there are no counters or one was reset.
func counterOrPower(prev, cur []float64, energy, power []int, dt time.Duration) float64 {
	if diff := judge.Sum(cur, energy) - judge.Sum(prev, energy); diff >= 0 {
		return diff
	}
	return trapezoid(judge.Sum(prev, power), judge.Sum(cur, power), dt)
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
