package agent

import (
	"math"
	"time"

	"sweepd/judge"
)

// dischargeMeter gives the present discharge of all batteries: what they report
// as power, or, from one that reports only its content, how fast that falls.
type dischargeMeter struct {
	contents []contentFall // one for each battery of the view, in its order
}

// contentFall follows the content of one battery from change to change.
type contentFall struct {
	instance string
	energy   float64
	changes  [16]struct {
		at     time.Duration
		energy float64
	}
	n int // changes seen, the latest at (n-1) % len
}

// fallOver is the time over which a content's fall is taken: long enough that
// its rounding (10 mWh is 36 J) is small against some 10 W.
const fallOver = 30 * time.Second

func (m *dischargeMeter) observe(index *judge.SensorIndex, values []float64, now time.Duration) float64 {
	for len(m.contents) < len(index.Batteries) {
		m.contents = append(m.contents, contentFall{energy: math.NaN()})
	}
	total, any := 0.0, false
	for i, b := range index.Batteries {
		if m.contents[i].instance != b.Instance {
			m.contents[i] = contentFall{instance: b.Instance, energy: math.NaN()}
		}
		m.contents[i].observe(judge.At(values, b.Energy), now)
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

func (f *contentFall) observe(energy float64, now time.Duration) {
	if math.IsNaN(energy) || energy == f.energy {
		return
	}
	first := math.IsNaN(f.energy)
	f.energy = energy
	if first { // when it began to be so is unknown
		return
	}
	if f.n > 1 { // keep changes apart, so that the ring spans fallOver
		last, before := &f.changes[(f.n-1)%len(f.changes)], f.changes[(f.n-2)%len(f.changes)]
		if last.at-before.at < fallOver/time.Duration(len(f.changes)-1) {
			last.at, last.energy = now, energy
			return
		}
	}
	c := &f.changes[f.n%len(f.changes)]
	c.at, c.energy = now, energy
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
