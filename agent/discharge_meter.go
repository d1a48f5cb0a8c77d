package agent

import (
	"math"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// dischargeMeter gives the present discharge of all batteries: what they report
// as power, or, from one that reports only its content, how fast that falls.
type dischargeMeter struct {
	contents []contentFall // one for each battery of the view, in its order
}

// contentFall follows the content of one battery from change to change, since it
// stepped last.
type contentFall struct {
	instance string
	watch    judge.ContentWatch
	energy   float64 // at the latest change, of any origin
	changes  [16]struct {
		at     time.Duration
		energy float64
	}
	n int // changes seen, the latest at (n-1) % len
}

// fallOver is the time over which a content's fall is taken: long enough that
// its rounding (10 mWh is 36 J) is small against some 10 W.
const fallOver = 30 * time.Second

func (m *dischargeMeter) observe(index *judge.SensorIndex, values []float64, now run.Instant) float64 {
	for len(m.contents) < len(index.Batteries) {
		m.contents = append(m.contents, contentFall{})
	}
	total, any := 0.0, false
	for i, b := range index.Batteries {
		if m.contents[i].instance != b.Instance {
			m.contents[i] = contentFall{instance: b.Instance}
		}
		m.contents[i].observe(b, values, now)
		if b.Silent(values) {
			continue
		}
		p := b.ReportedPower(values)
		if math.IsNaN(p) {
			p = m.contents[i].watts()
		}
		any = true
		total += p
	}
	if !any {
		return math.NaN()
	}
	return total
}

func (f *contentFall) observe(b judge.BatteryIndex, values []float64, now run.Instant) {
	change, changed := f.watch.Observe(b, values, now)
	if !changed {
		return
	}
	f.energy += change.Joules
	if change.Kind != judge.ContentFlowed {
		f.n = 0
	}
	f.add(now.Mono)
}

// add keeps the latest change.
func (f *contentFall) add(now time.Duration) {
	if f.n > 1 { // keep changes apart, so that the ring spans fallOver
		last, before := &f.changes[(f.n-1)%len(f.changes)], f.changes[(f.n-2)%len(f.changes)]
		if last.at-before.at < fallOver/time.Duration(len(f.changes)-1) {
			last.at, last.energy = now, f.energy
			return
		}
	}
	c := &f.changes[f.n%len(f.changes)]
	c.at, c.energy = now, f.energy
	f.n++
}

// watts is the mean fall over the changes kept, NaN before there are two.
func (f *contentFall) watts() float64 {
	if f.n < 2 {
		return math.NaN()
	}
	last := f.changes[(f.n-1)%len(f.changes)]
	first := f.changes[0]
	if f.n > len(f.changes) {
		first = f.changes[f.n%len(f.changes)]
	}
	if last.at <= first.at {
		return math.NaN()
	}
	return (first.energy - last.energy) / (last.at - first.at).Seconds()
}
