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

	cells   []Cell // of the result as it was reported
	noise   Noise
	means   []estimate
	watts   bool // every setting has watts
	ordered bool // the settings have an order from less to more power
	out     CurveGroup
}

// build returns the curve; ok is false if no run of the group can be used.
func (c *curveGroup) build(key Group) (CurveGroup, bool) {
	var left LeftOut
	c.cells, left = BuildCells(c.runs, c.indices, Metric(c.metric.name))
	if len(c.cells) == 0 {
		return CurveGroup{}, false
	}
	c.watts, c.ordered = byWatts(c.cells), inOrder(c.cells)
	c.noise = EstimateNoise(c.cells, c.noiseOptions())
	c.means = estimates(c.cells, c.noise, c.metric.lower)

	c.out = CurveGroup{
		Device: key.Device, Workload: key.Workload, Variant: key.Variant, Supply: key.Supply,
		Noise: groupNoise(c.noise), NoiseSource: c.noise.Source,
		Efficiency: noEfficiency(), Efficiencies: []Efficiency{},
		Enough: Enough{Unknown(), c.req.Share}, KneeW: Unknown(),
		Marginal: []Marginal{}, Departures: []DepartureAt{}, Flagged: flaggedRuns(c.runs, c.cells, c.noise), Notes: []Note{},
	}
	c.noteRuns(left)
	c.addPoints()
	c.out.Best = bestOf(c.cells, c.means)
	c.addDepartures()
	inside := c.addRange()
	c.addEfficiencies(inside)
	if c.watts {
		c.addEnough(inside)
		c.out.Marginal = marginal(c.means)
	} else {
		c.note(Note{Code: NoteCurveByName})
	}
	return c.out, true
}

func (c *curveGroup) noiseOptions() NoiseOptions {
	o := NoiseOptions{LowerIsBetter: c.metric.lower, Declared: c.req.Declared}
	if c.ordered {
		o.Departures = Departures
	}
	return o
}

// namesHaveOrder tells whether all settings are names whose order is known.
func namesHaveOrder(cells []Cell) bool {
	return !slices.ContainsFunc(cells, func(cell Cell) bool { return !run.Named(cell.Name).Ordered() })
}

func (c *curveGroup) note(notes ...Note) { c.out.Notes = append(c.out.Notes, notes...) }

func (c *curveGroup) noteRuns(left LeftOut) {
	c.note(leftOutNotes("", left, c.metric.name)...)
	c.note(noiseNotes("", c.noise)...)
	c.note(unlikeRepeatsNotes(c.noise)...)
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
	for _, d := range slices.SortedFunc(slices.Values(c.noise.Departed), func(a, b Departed) int { return a.Cell - b.Cell }) {
		cell := c.cells[d.Cell]
		c.out.Departures = append(c.out.Departures, DepartureAt{
			Number(cell.SettingW), cell.Name, Number(d.Change), Number(d.PAdjusted),
		})
		if cell.N() == 1 {
			single++
		}
	}
	if single > 0 {
		c.note(Note{Code: NoteSingleRunDepartures, Count: single})
	}
}

func (c *curveGroup) departed(cell int) bool {
	return slices.ContainsFunc(c.noise.Departed, func(d Departed) bool { return d.Cell == cell })
}

// addEfficiencies adds the efficiency by every denominator that at least half
// the settings have; the first is the one the group is summed up by.
func (c *curveGroup) addEfficiencies(inside func(float64) bool) {
	for _, by := range []struct {
		name  string
		power Quantity
	}{{ByPackage, PackagePower}, {BySystem, SystemPower}, {BySetting, SettingPower}} {
		cells, _ := BuildCells(c.runs, c.indices, Per(c.metric.goodness(), by.power))
		switch {
		case len(cells) == 0 || by.name == BySetting && !c.watts:
			continue
		case 2*len(cells) < len(c.cells):
			c.note(Note{Code: NoteEfficiencyLeftOut, Name: by.name, Count: len(cells), Of: len(c.cells)})
			continue
		}
		// No departures: efficiency is not expected to rise.
		noise := EstimateNoise(cells, NoiseOptions{Declared: c.req.Declared})
		c.out.Efficiencies = append(c.out.Efficiencies, efficiency(by.name, cells, noise, inside))
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
	c.out.KneeW = Number(kneeWatts(watts, y))
	c.out.KneeTold = c.out.KneeW.Known() && bendTold(chosen)
}
