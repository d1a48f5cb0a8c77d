package analysis

import (
	"math"
	"slices"

	"sweepd/run"
)

// curveGroup builds the curve of one group.
type curveGroup struct {
	runs    []run.Run
	indices []int
	metric  metricInfo
	req     CurveRequest

	samples []sample // of the result as it was reported
	noise   noiseEstimate
	means   []estimate
	watts   bool // every setting has watts
	ordered bool // the settings have an order from less to more power
	out     CurveGroup
}

// build returns the curve; ok is false if no run of the group can be used.
func (c *curveGroup) build(key Group) (CurveGroup, bool) {
	var left leftOut
	c.samples, left = buildSamples(c.runs, c.indices, resultNamed(c.metric.name))
	if len(c.samples) == 0 {
		return CurveGroup{}, false
	}
	c.watts, c.ordered = byWatts(c.samples), inOrder(c.samples)
	c.noise = estimateNoise(c.samples, c.noiseOptions())
	c.means = estimates(c.samples, c.noise, c.metric.lower)

	c.out = CurveGroup{
		Device: key.Device, Workload: key.Workload, Variant: string(key.Variant), Supply: string(key.Supply),
		Noise: groupNoise(c.noise), NoiseSource: c.noise.source,
		Efficiency: noEfficiency(), Efficiencies: []Efficiency{},
		Enough: Enough{Unknown(), c.req.Share, Unknown(), Unknown()}, KneeW: Unknown(),
		Marginal: []Marginal{}, Departures: []DepartureAt{}, Flagged: flaggedRuns(c.runs, c.samples, c.noise), Notes: []Note{},
	}
	c.noteRuns(left)
	c.addPoints()
	c.out.Best = bestOf(c.samples, c.means)
	c.addDepartures()
	inside := c.addRange()
	c.addEfficiencies(inside)
	if c.watts {
		c.addEnough(inside)
		c.out.Marginal = marginal(c.means)
	} else {
		c.note(Note{Code: NoteCurveByName})
	}
	out := c.out
	out.made = c
	return out, true
}

func (c *curveGroup) noiseOptions() noiseOptions {
	o := noiseOptions{lowerIsBetter: c.metric.lower, declared: c.req.Declared}
	if c.ordered {
		o.departures = findDepartures
	}
	return o
}

// namesHaveOrder tells whether all settings are names whose order is known.
func namesHaveOrder(samples []sample) bool {
	return !slices.ContainsFunc(samples, func(sample sample) bool { return !run.Named(sample.name).Ordered() })
}

func (c *curveGroup) note(notes ...Note) { c.out.Notes = append(c.out.Notes, notes...) }

func (c *curveGroup) noteRuns(left leftOut) {
	c.note(leftOutNotes("", left, c.metric.name)...)
	used := usedRuns(c.samples)
	c.note(countNote(NotePowerUnclear, "", countRuns(c.runs, used, func(r *run.Run) bool { return r.NoSystemPower() != "" }))...)
	c.note(countNote(NoteKeptInterrupted, "", countRuns(c.runs, used, keptInterrupted))...)
	c.note(noiseNotes("", c.noise)...)
	c.note(unlikeRepeatsNotes(c.noise)...)
	c.note(movesBetweenDays("", c.runs, c.samples)...)
	if c.metric.lower {
		c.note(Note{Code: NoteLowerIsBetter})
	}
}

func (c *curveGroup) addDepartures() {
	if !c.ordered {
		c.note(Note{Code: NoteNoOrder})
		return
	}
	single := 0
	for _, d := range slices.SortedFunc(slices.Values(c.noise.departed), func(a, b departure) int { return a.setting - b.setting }) {
		sample := c.samples[d.setting]
		c.out.Departures = append(c.out.Departures, DepartureAt{
			Number(sample.watts), sample.name, Number(d.change), Number(d.pAdjusted),
		})
		if sample.n() == 1 {
			single++
		}
	}
	if single > 0 {
		c.note(Note{Code: NoteSingleRunDepartures, Count: single})
	}
}

// departed tells whether the setting of sample j fell out of the trend.
func (c *curveGroup) departed(j int) bool {
	return slices.ContainsFunc(c.noise.departed, func(d departure) bool { return d.setting == j })
}

// addEfficiencies adds the efficiency by every denominator that at least half
// the settings have; the first is the one the group is summed up by.
func (c *curveGroup) addEfficiencies(inside func(float64) bool) {
	for _, by := range []struct {
		name  string
		power quantity
	}{{ByPackage, packagePower}, {BySystem, systemPower}, {BySetting, settingPower}} {
		samples, _ := buildSamples(c.runs, c.indices, quotient(c.metric.goodness(), by.power))
		switch {
		case len(samples) == 0 || by.name == BySetting && !c.watts:
			continue
		case 2*len(samples) < len(c.samples):
			c.note(Note{Code: NoteEfficiencyLeftOut, Name: by.name, Count: len(samples), Of: len(c.samples)})
			continue
		}
		if by.name == BySystem {
			var used []*run.Run
			for _, i := range c.indices {
				used = append(used, &c.runs[i])
			}
			if n := countExternal(used); n > 0 {
				c.note(Note{Code: NoteExternalWatts, Count: n, Of: len(used)})
			}
		}
		// No departures: efficiency is not expected to rise.
		noise := estimateNoise(samples, noiseOptions{declared: c.req.Declared})
		c.out.Efficiencies = append(c.out.Efficiencies, efficiency(by.name, samples, noise, inside))
	}
	if len(c.out.Efficiencies) > 0 {
		c.out.Efficiency = c.out.Efficiencies[0]
	}
}

// addEnough adds the smallest setting that is enough and the knee, on the curve
// inside the range, made to rise, without departed settings.
func (c *curveGroup) addEnough(inside func(float64) bool) {
	var watts, z, n []float64
	var chosen []estimate
	for j, e := range c.means {
		if inside(e.watts) && !c.departed(j) {
			watts, z, n = append(watts, e.watts), append(z, e.z), append(n, float64(e.n))
			chosen = append(chosen, e)
		}
	}
	if len(z) == 0 {
		return
	}
	y := isotonic(z, n)
	top := y[len(y)-1]
	for i := range y {
		y[i] = math.Exp(y[i] - top) // as shares of the best, which neither overflow nor depend on the unit
	}
	c.out.Enough.AtW = Number(enoughWatts(watts, y, c.req.Share))
	if low, high, ok := enoughInterval(chosen, c.req.Share); ok {
		c.out.Enough.within(chosen, low, high)
	}
	c.out.KneeW = Number(kneeWatts(watts, y))
	c.out.KneeSignificant = c.out.KneeW.Known() && bendsBeyondNoise(chosen)
}
