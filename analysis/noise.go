package analysis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// NoiseSource names what the noise of a setting was estimated from.
type NoiseSource string

const (
	NoisePooled          NoiseSource = "pooled"           // repeats at all settings
	NoiseWindow          NoiseSource = "window"           // repeats at the seven nearest settings
	NoisePooledRoughness NoiseSource = "pooled+roughness" // few repeats and the roughness of the curve
	NoiseRoughness       NoiseSource = "roughness"        // the roughness of the curve alone
	NoiseDeclared        NoiseSource = "declared"         // the user's word
	NoiseNone            NoiseSource = "none"             // nothing: no bounds can be given
)

// Constants of the noise estimate, fixed by simulation; TestStudyCompare shows
// what comparisons achieve with them.
const (
	scaleFactor   = 1.4826 // makes the median absolute deviation estimate a normal's SD [Hampel 1974]
	scaleFloor    = 0.001  // relative SD below which runs are never told apart
	isolateAt     = 3.0    // scales at which a cell is isolated [Davies & Gather 1993]
	ownVarianceAt = 2.5    // scales at which a cell speaks for itself
	truncation    = 0.96   // share of the variance that isolating leaves
	windowCells   = 7
	windowLevel   = 0.05 // level of the test for noise that changes along the settings
	windowMinU    = 6    // values of u for a scale of the window's own
	windowMinNu   = 4.0
	poolMinNu     = 8.0  // fewer degrees of freedom ask for the roughness
	varianceFloor = 1e-6 // results are never taken as more repeatable than 0.1 %
)

// Departed is a setting that fell out of a rising trend.
type Departed struct {
	Cell      int     // index among the points
	Change    float64 // relative to where the trend has it; negative for a drop
	PAdjusted float64
}

// Levels gives, for tests on the active settings (ascending indices), the
// variance v of one run at setting k and its degrees of freedom when setting j
// is tested. Where the noise comes from roughness, j is left out of it, so that
// a dip does not hide behind the noise it causes.
type Levels func(active []int) func(j, k int) (v, nu float64)

// DepartureTest finds departures from a rising trend.
type DepartureTest func(points []TrendPoint, levels Levels) []Departed

// NoiseOptions says how to estimate the noise of a group. The zero value works.
type NoiseOptions struct {
	LowerIsBetter bool          // which way the trend rises
	Declared      float64       // relative SD of one run that the user declared; 0: none
	Spent         float64       // share of the degrees of freedom that blocks took, 0 to 1 (1 - kappa)
	Departures    DepartureTest // nil: no setting is looked at as departed
}

// CellNoise is the noise at one setting.
type CellNoise struct {
	V        float64 // variance of ln(result) of one run; NaN where the source is none
	Nu       float64 // its degrees of freedom; 0 where the source is none, +Inf where declared
	Source   NoiseSource
	Isolated bool // its repeats differ too much to be pooled
}

// Flag points at a run that differs from its repeats. Flagged runs stay in all
// numbers; only the user rejects.
type Flag struct {
	Cell int // index among the cells
	Run  int // index among the runs the cells were built from
}

// Noise is the noise of a group.
type Noise struct {
	Source   NoiseSource // of the group: window if any setting's is
	Cells    []CellNoise
	Flagged  []Flag
	Departed []Departed

	points  []TrendPoint
	pools   []pool    // per cell, before roughness
	spreads []float64 // per cell: its own variance where it speaks for itself, else 0
	rough   bool
}

// EstimateNoise estimates the variance of one run at every setting of a group
// from the repeats and, where they are few, from the roughness of the curve.
// Cells must be in order of X. The cells are not changed.
func EstimateNoise(cells []Cell, opts NoiseOptions) Noise {
	rep, kappa := newRepeats(cells), 1-opts.Spent
	scales, windowed := rep.scales()
	noise := Noise{
		Cells:   make([]CellNoise, len(cells)),
		points:  trendPoints(cells, opts.LowerIsBetter),
		spreads: make([]float64, len(cells)),
	}
	isolated := make([]bool, len(cells))
	for j := range cells {
		isolated[j] = rep.q[j] > isolateAt*scales[j]
		noise.Cells[j].Isolated = isolated[j]
		if isolated[j] {
			noise.Flagged = append(noise.Flagged, flagRuns(cells, j, scales[j])...)
		}
		if rep.q[j] > ownVarianceAt*scales[j] && kappa > 0 {
			noise.spreads[j] = rep.ss[j] / rep.df[j] / kappa
		}
	}
	var global pool
	noise.pools, global = rep.pools(isolated, windowed, kappa)
	noise.rough = global.nu < poolMinNu
	noise.settle(cells, opts, global)
	return noise
}

// settle turns pools, roughness and departures into the noise of every cell.
func (n *Noise) settle(cells []Cell, opts NoiseOptions, global pool) {
	if opts.Declared > 0 && global.df == 0 {
		n.declare(opts.Declared)
		return
	}
	if n.rough {
		n.fill(curveRoughness(n.points, allIndices(len(cells))))
	} else {
		n.fill(roughness{})
	}
	if opts.Departures == nil {
		return
	}
	n.Departed = opts.Departures(n.points, n.Levels)
	if n.rough && len(n.Departed) > 0 {
		n.fill(curveRoughness(n.points, n.inLine()))
	}
	for _, d := range n.Departed {
		if c := &n.Cells[d.Cell]; n.points[d.Cell].N == 1 && c.Source != NoiseNone {
			dip := math.Log1p(d.Change)
			c.V = math.Max(c.V, dip*dip) // one run cannot tell a dip from a bad run
		}
	}
}

// declare takes the user's relative SD c for every setting.
func (n *Noise) declare(c float64) {
	n.Source, n.rough = NoiseDeclared, false
	for j := range n.Cells {
		n.Cells[j].V, n.Cells[j].Nu, n.Cells[j].Source = math.Max(c*c, varianceFloor), math.Inf(1), NoiseDeclared
	}
}

// fill sets every cell's noise from its pool and the given roughness.
func (n *Noise) fill(r roughness) {
	n.Source = NoiseNone
	for j := range n.Cells {
		c := &n.Cells[j]
		c.V, c.Nu, c.Source = n.level(j, r)
		if n.Source == NoiseNone || c.Source == NoiseWindow {
			n.Source = c.Source
		}
	}
}

// level joins the pool of cell j with roughness, weighted by their degrees of
// freedom, and lets an odd cell speak for itself.
func (n *Noise) level(j int, r roughness) (v, nu float64, source NoiseSource) {
	p := n.pools[j]
	v, nu, source = p.s2, p.nu, NoisePooled
	if p.window {
		source = NoiseWindow
	}
	if s2, nuD := r.estimate(); nuD > 0 {
		source = NoisePooledRoughness
		if p.nu == 0 {
			source = NoiseRoughness
		}
		v = (p.nu*p.s2 + nuD*s2) / (p.nu + nuD)
		nu = p.nu + nuD
	}
	if !(nu > 0) {
		return math.NaN(), 0, NoiseNone
	}
	return math.Max(math.Max(v, n.spreads[j]), varianceFloor), nu, source
}

// Levels is the noise that tests for departures use: that of the group, or,
// where roughness is part of it, estimated anew without the setting tested.
func (n *Noise) Levels(active []int) func(j, k int) (v, nu float64) {
	if !n.rough {
		return func(_, k int) (float64, float64) { return n.Cells[k].V, n.Cells[k].Nu }
	}
	all := curveRoughness(n.points, active)
	tested, rest := -1, roughness{}
	return func(j, k int) (float64, float64) {
		if j != tested {
			tested, rest = j, all
			if place, ok := slices.BinarySearch(active, j); ok {
				rest = all.without(n.points, active, place)
			}
		}
		v, nu, _ := n.level(k, rest)
		return v, nu
	}
}

// inLine lists the settings that were not found departed.
func (n *Noise) inLine() []int {
	return slices.DeleteFunc(allIndices(len(n.points)), func(j int) bool {
		return slices.ContainsFunc(n.Departed, func(d Departed) bool { return d.Cell == j })
	})
}

func allIndices(m int) []int {
	all := make([]int, m)
	for j := range all {
		all[j] = j
	}
	return all
}

// trendPoints are the cells' means, turned so that more is better.
func trendPoints(cells []Cell, lowerIsBetter bool) []TrendPoint {
	points := make([]TrendPoint, len(cells))
	for j, c := range cells {
		points[j] = TrendPoint{c.X, c.Mean(), c.N()}
		if lowerIsBetter {
			points[j].Z = -points[j].Z
		}
	}
	return points
}

// flagRuns names the odd runs of an isolated cell: those far from the cell's
// median. Two runs are equally far from theirs, so that their results do not tell
// which of them is odd: both are named.
func flagRuns(cells []Cell, j int, scale float64) []Flag {
	z := cells[j].Z
	var flags []Flag
	centre := Median(z)
	for i, v := range z {
		if len(z) == 2 || math.Abs(v-centre) > isolateAt*scale {
			flags = append(flags, Flag{j, cells[j].Runs[i]})
		}
	}
	return flags
}

// fProbability is P(F <= ratio) of the F distribution.
func fProbability(ratio, df1, df2 float64) float64 {
	return distuv.F{D1: df1, D2: df2}.CDF(ratio)
}
