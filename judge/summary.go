package judge

import (
	"math"
	"slices"
	"strings"

	"sweepd/run"
)

// summaries are the sensors that had a value in the run, in order.
func summaries(sensors []run.Sensor, sums []integrator, p95 *timeQuantiles, duration float64) []run.Summary {
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
			sum.P95 = orNil(p95.of(i))
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

// orNil is nil for what is no number.
func orNil(x float64) *float64 {
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
func meanPower(index *SensorIndex, list []run.Summary, duration float64) *float64 {
	if duration < shortestPower {
		return nil
	}
	if e := totalEnergy(index.Sensors, list, index.PackageEnergy); e != nil {
		w := *e / duration
		return &w
	}
	if e := totalEnergy(index.Sensors, list, index.PackagePower); e != nil {
		w := *e / duration
		return &w
	}
	return nil
}

// externalPower is the power of the whole device on mains where a meter was joined to the
// run: what the meter saw, and what the batteries gave beside it (less what they took while
// charging, whose losses stay in).
func externalPower(d *run.Record) (*float64, run.PowerSource) {
	i := slices.IndexFunc(d.Summaries, func(s run.Summary) bool { return s.Sensor == run.ExternalPower })
	if i < 0 || d.Summaries[i].Mean == nil {
		return nil, ""
	}
	w := *d.Summaries[i].Mean
	if d.Discharge != nil && d.Discharge.Watts != nil {
		w += *d.Discharge.Watts
	}
	return &w, run.FromExternal
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
