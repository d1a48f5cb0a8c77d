package agent

import (
	"math"
	"slices"
	"strings"
	"time"

	"sweepd/run"
)

// summaries are the sensors that had a value in the run, in order.
func summaries(sensors []run.Sensor, sums []integrator, p95 []float64, duration float64) []run.Summary {
	list := []run.Summary{}
	for i, s := range sensors {
		g := &sums[i]
		if g.n == 0 {
			continue
		}
		first, last := g.first, g.last
		sum := run.Summary{Sensor: s.ID, Instance: s.Instance, Unit: s.Unit, Mean: g.mean(), First: &first, Last: &last}
		if !g.counter {
			lo, hi := g.min, g.max
			sum.Min, sum.Max = &lo, &hi
			sum.P95 = known(p95[i])
		}
		if isPower(s) || s.Unit == "joules" && g.counter {
			sum.EnergyJoules = g.energy(duration)
		}
		list = append(list, sum)
	}
	preferCounters(list, duration)
	return list
}

// isPower tells a power from a limit in watts, whose integral means nothing.
func isPower(s run.Sensor) bool { return strings.HasSuffix(s.ID, "power_watts") }

// preferCounters gives a power that has a counter of its energy beside it the
// counter's energy and mean: its single readings are means since the reading
// before, which no integral over moments adds up exactly.
func preferCounters(list []run.Summary, duration float64) {
	for i := range list {
		part, found := strings.CutSuffix(list[i].Sensor, "power_watts")
		if !found || duration <= 0 {
			continue
		}
		for _, c := range list {
			if c.Sensor == part+"energy_joules" && c.Instance == list[i].Instance && c.EnergyJoules != nil && c.Mean == nil {
				e, mean := *c.EnergyJoules, *c.EnergyJoules/duration
				list[i].EnergyJoules, list[i].Mean = &e, &mean
			}
		}
	}
}

func known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// shortestPower is the shortest run, in seconds, whose package power is stated:
// in a shorter one it hangs on when the counter was refreshed (common practice,
// no source).
const shortestPower = 1.0

// meanPower is the package's energy over the run's duration, W: from its
// counters, else from its power; nil where the device has neither.
func meanPower(sensors []run.Sensor, list []run.Summary, v *view, duration float64) *float64 {
	if duration < shortestPower {
		return nil
	}
	if e := totalEnergy(sensors, list, v.packageEnergy); e != nil {
		w := *e / duration
		return &w
	}
	if e := totalEnergy(sensors, list, v.packagePower); e != nil {
		w := *e / duration
		return &w
	}
	return nil
}

func totalEnergy(sensors []run.Sensor, list []run.Summary, positions []int) *float64 {
	if len(positions) == 0 {
		return nil
	}
	total := 0.0
	for _, p := range positions {
		i := slices.IndexFunc(list, func(s run.Summary) bool {
			return s.Sensor == sensors[p].ID && s.Instance == sensors[p].Instance
		})
		if i < 0 || list[i].EnergyJoules == nil {
			return nil
		}
		total += *list[i].EnergyJoules
	}
	return &total
}

// quantileMemory bounds what timeQuantiles holds at once, bytes.
const quantileMemory = 1 << 20

// timeQuantiles gives for each gauge the smallest reading that was not exceeded
// for the share p of the time, NaN where there was none: the inverse of the
// time-weighted distribution (Hyndman & Fan 1996, type 1). It walks the trace
// once for as many sensors as fit into quantileMemory.
func timeQuantiles(trace run.Trace, sensors []run.Sensor, p float64) ([]float64, error) {
	result := make([]float64, len(sensors))
	var gauges []int
	for i, s := range sensors {
		result[i] = math.NaN()
		if s.Kind == run.Gauge {
			gauges = append(gauges, i)
		}
	}
	times, err := sweepTimes(trace)
	if err != nil || len(times) == 0 {
		return result, err
	}
	weights := timeWeights(times)
	most := max(1, quantileMemory/(16*len(times)))
	for block := range slices.Chunk(gauges, most) {
		if err := blockQuantiles(trace, block, weights, p, result); err != nil {
			return nil, err
		}
	}
	return result, nil
}

func sweepTimes(trace run.Trace) ([]time.Duration, error) {
	var times []time.Duration
	err := trace.Each(func(s run.Sweep) error {
		times = append(times, s.At.Mono)
		return nil
	})
	return times, err
}

// timeWeights gives each sweep half the interval on either side, s; 1 to a
// sweep that stands alone.
func timeWeights(times []time.Duration) []float64 {
	w := make([]float64, len(times))
	for i := 1; i < len(times); i++ {
		half := (times[i] - times[i-1]).Seconds() / 2
		w[i-1] += half
		w[i] += half
	}
	if len(w) == 1 {
		w[0] = 1
	}
	return w
}

type weighted struct{ x, w float64 }

func blockQuantiles(trace run.Trace, block []int, weights []float64, p float64, result []float64) error {
	columns := make([][]weighted, len(block))
	n := 0
	err := trace.Each(func(s run.Sweep) error {
		for k, i := range block {
			if x := at(s.Values, i); !math.IsNaN(x) {
				columns[k] = append(columns[k], weighted{x, weights[n]})
			}
		}
		n++
		return nil
	})
	for k, i := range block {
		result[i] = weightedQuantile(columns[k], p)
	}
	return err
}

// weightedQuantile sorts list.
func weightedQuantile(list []weighted, p float64) float64 {
	if len(list) == 0 {
		return math.NaN()
	}
	slices.SortFunc(list, func(a, b weighted) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		}
		return 0
	})
	total := 0.0
	for _, e := range list {
		total += e.w
	}
	sum := 0.0
	for _, e := range list {
		if sum += e.w; sum >= p*total*(1-1e-12) {
			return e.x
		}
	}
	return list[len(list)-1].x
}
