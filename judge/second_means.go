package judge

import (
	"math"
	"time"

	"sweepd/run"
)

// powerSecond is the mean package power, discharge, clock and processor load of one
// second, and its highest temperature; NaN where unknown.
type powerSecond struct {
	watts, out, hertz, busy, celsius float64
	second                           int // after the start
}

// secondMeans gathers the seconds of a run. One that has no sweep is left out.
type secondMeans struct {
	index     *SensorIndex
	onBattery bool // the discharge counts on battery alone

	list    []powerSecond
	prev    time.Duration
	sums    [4]float64 // watts, out, hertz, busy
	counts  [4]int
	hottest float64
}

func (m *secondMeans) observe(s *run.Sweep, t time.Duration) {
	if t.Truncate(time.Second) != m.prev.Truncate(time.Second) {
		m.close()
	}
	m.prev = t
	out := m.index.Discharge(s.Values)
	if m.onBattery && s.Supply != run.Battery {
		out = math.NaN()
	}
	watts, hertz, busy := Sum(s.Values, m.index.PackagePower), highest(s.Values, m.index.frequencies), At(s.Values, m.index.busy)
	for i, x := range [...]float64{watts, out, hertz, busy} {
		if !math.IsNaN(x) {
			m.sums[i] += x
			m.counts[i]++
		}
	}
	if x := highest(s.Values, m.index.temperatures); x > m.hottest || m.hottest == 0 {
		m.hottest = x
	}
}

// close ends a second.
func (m *secondMeans) close() {
	mean := func(i int) float64 { return m.sums[i] / float64(m.counts[i]) } // NaN of none
	m.list = append(m.list, powerSecond{watts: mean(0), out: mean(1), hertz: mean(2), busy: mean(3), celsius: m.hottest, second: int(m.prev / time.Second)})
	m.sums, m.counts, m.hottest = [4]float64{}, [4]int{}, 0
}

// highest is the largest value at the positions, NaN where all are missing.
func highest(values []float64, positions []int) float64 {
	top := math.NaN()
	for _, i := range positions {
		if x := At(values, i); math.IsNaN(top) || x > top {
			top = x
		}
	}
	return top
}

// meanOf is the mean of what f gives, NaN values left out.
func meanOf(list []powerSecond, f func(powerSecond) float64) float64 {
	total, n := 0.0, 0
	for _, s := range list {
		if x := f(s); !math.IsNaN(x) {
			total += x
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return total / float64(n)
}
