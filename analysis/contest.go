package analysis

import (
	"math"

	"sweepd/run"
)

// contrast is one setting of two sides: the difference of their mean
// logarithms, and what is known of its error. Unknown numbers are NaN.
type contrast struct {
	watts        float64 // on the axis; NaN for a named setting
	name         string
	x            float64
	nA, nB       int
	meanA, meanB float64 // mean logarithms
	d            float64 // meanA - meanB
	va, vb       float64 // variances of the means
	nuA, nuB     float64
	perRun       float64 // variance of one run of a plus one of b
	se, nu       float64

	t            float64 // d/se
	lower, upper float64 // simultaneous bounds of d
	p            float64
	verdict      Verdict
	more         *int
}

func (c *contrast) shared() bool { return c.nA > 0 && c.nB > 0 }

// measure fills in the standard error of the difference.
// [Welch 1947; Satterthwaite 1946]
func (c *contrast) measure() {
	c.d = c.meanA - c.meanB
	c.se = math.Sqrt(c.va + c.vb)
	c.nu = satterthwaite([]float64{c.va, c.vb}, []float64{c.nuA, c.nuB})
}

// satterthwaite is the degrees of freedom of a sum of variances; +Inf where all
// of them are known, NaN where one is not. [Satterthwaite 1946; JCGM 100 G.4]
func satterthwaite(v, nu []float64) float64 {
	sum, below := 0.0, 0.0
	for i := range v {
		sum += v[i]
		below += v[i] * v[i] / nu[i]
	}
	return sum * sum / below
}

// effect is a mean difference of logarithms with its standard error.
type effect struct{ d, se, nu float64 }

// interval is the two-sided t interval.
func (e effect) interval(confidence float64) (lower, upper float64) {
	half := studentQuantile((1+confidence)/2, e.nu) * e.se
	if !(e.nu >= leastNu) {
		half = math.NaN()
	}
	return e.d - half, e.d + half
}

// contest is one comparison on its way from runs to verdicts.
type contest struct {
	req       CompareRequest
	metric    metricInfo
	a, b      side
	lower     bool // less is better
	contrasts []contrast
	overall   effect
	joint     bool      // neighbouring differences share measured points, so their errors are not independent
	blocks    []float64 // shifts of the passes, taken out; none: no blocks
	family    int       // settings adjusted together
	notes     []Note
}

// leastNu is the fewest degrees of freedom with which bounds are given.
const leastNu = 2.0

func newContest(runs []run.Run, groups map[Group][]int, p pair, metric metricInfo, req CompareRequest) *contest {
	c := &contest{req: req, metric: metric}
	quantity, lower := quantityOf(metric, req.Per)
	c.lower = lower
	if req.At != AtSetting {
		quantity = withPower(quantity, powerOf[req.At])
	}
	c.a = side{runs: runs, indices: groups[p.a]}
	c.b = side{runs: runs, indices: groups[p.b]}
	for _, s := range []*side{&c.a, &c.b} {
		s.cells, s.left = BuildCells(runs, s.indices, quantity)
	}
	var spent float64
	c.blocks, spent = removeBlocks(&c.a, &c.b, p.a.Device == p.b.Device)
	c.a.estimateNoise(req, lower, spent)
	c.b.estimateNoise(req, lower, spent)
	if req.At == AtSetting {
		c.contrastSettings()
	} else {
		c.contrastAligned()
	}
	return c
}

// contrastSettings compares the sides at equal settings.
func (c *contest) contrastSettings() {
	borrowed := false
	forBoth(c.a.cells, c.b.cells, func(i, j int) {
		k := contrast{meanA: math.NaN(), meanB: math.NaN(), va: math.NaN(), vb: math.NaN()}
		var a, b CellNoise
		if i >= 0 {
			k.fillA(c.a.cells[i])
			a = c.a.noise.Cells[i]
		}
		if j >= 0 {
			k.fillB(c.b.cells[j])
			b = c.b.noise.Cells[j]
		}
		if k.shared() {
			switch {
			case a.Source == NoiseNone && b.Source != NoiseNone:
				a, borrowed = b, true
			case b.Source == NoiseNone && a.Source != NoiseNone:
				b, borrowed = a, true
			}
			k.va, k.nuA = a.V/float64(k.nA), a.Nu
			k.vb, k.nuB = b.V/float64(k.nB), b.Nu
			k.perRun = a.V + b.V
		}
		k.measure()
		c.contrasts = append(c.contrasts, k)
	})
	if borrowed {
		c.note(Note{Code: NoteNoiseBorrowed})
	}
	c.placeSettings()
	c.overall = meanContrast(c.contrasts)
}

func (k *contrast) fillA(cell Cell) {
	k.watts, k.name, k.nA, k.meanA = cell.SettingW, cell.Name, cell.N(), cell.Mean()
}

func (k *contrast) fillB(cell Cell) {
	k.watts, k.name, k.nB, k.meanB = cell.SettingW, cell.Name, cell.N(), cell.Mean()
}

// placeSettings puts the contrasts on one axis: ln watts, or 1, 2, ... where one
// has only a name.
func (c *contest) placeSettings() {
	settings := make([]run.Setting, len(c.contrasts))
	for i, k := range c.contrasts {
		settings[i] = settingAt(k.watts, k.name)
	}
	for i, x := range positions(settings) {
		c.contrasts[i].x = x
	}
}

// forBoth walks two lists of cells in order of setting; an index is -1 where a
// side lacks the setting.
func forBoth(a, b []Cell, visit func(i, j int)) {
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		order := 0
		switch {
		case i == len(a):
			order = 1
		case j == len(b):
			order = -1
		default:
			order = run.Setting.Compare(a[i].setting(), b[j].setting())
		}
		switch {
		case order < 0:
			visit(i, -1)
			i++
		case order > 0:
			visit(-1, j)
			j++
		default:
			visit(i, j)
			i, j = i+1, j+1
		}
	}
}

// meanContrast is the mean difference over the shared settings, with the largest
// degrees of freedom found on each side; d is NaN without a shared setting.
func meanContrast(contrasts []contrast) effect {
	var e effect
	var va, vb, nuA, nuB, m float64
	for _, k := range contrasts {
		if k.shared() {
			e.d += k.d
			va, vb = va+k.va, vb+k.vb
			nuA, nuB = math.Max(nuA, k.nuA), math.Max(nuB, k.nuB)
			m++
		}
	}
	e.d /= m
	e.se = math.Sqrt(va+vb) / m
	e.nu = satterthwaite([]float64{va, vb}, []float64{nuA, nuB})
	return e
}

// sharedSettings counts the settings at which both sides have runs.
func (c *contest) sharedSettings() int {
	m := 0
	for i := range c.contrasts {
		if c.contrasts[i].shared() {
			m++
		}
	}
	return m
}

// sharedContrasts lists them in order.
func (c *contest) sharedContrasts() []*contrast {
	var list []*contrast
	for i := range c.contrasts {
		if c.contrasts[i].shared() {
			list = append(list, &c.contrasts[i])
		}
	}
	return list
}

func (c *contest) note(notes ...Note) {
	for _, n := range notes {
		addNote(&c.notes, n)
	}
}
