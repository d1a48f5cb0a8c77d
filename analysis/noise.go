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
	ownVarianceAt = 2.5    // scales at which a sample's own variance counts, if it is larger
	truncation    = 0.96   // share of the variance that isolating leaves
	windowCells   = 7
	windowLevel   = 0.05 // level of the test for noise that changes along the settings
	windowMinU    = 6    // values of u for a scale of the window's own
	windowMinNu   = 4.0
	poolMinNu     = 8.0  // fewer degrees of freedom ask for the roughness
	varianceFloor = 1e-6 // results are never taken as more repeatable than 0.1 %
)

// departure is a setting that fell out of a rising trend.
type departure struct {
	setting   int     // index among the points
	change    float64 // relative to where the trend has it; negative for a drop
	pAdjusted float64
	lower     float64 // one-sided 95 % bounds of change, for all tests together; upper is below 0
	upper     float64
}

// trendNoise gives, for tests on the active settings (ascending indices), the
// variance v of one run at setting k and its degrees of freedom when setting j
// is tested. Where the noise comes from roughness, j is left out of it, so that
// a dip does not hide behind the noise it causes.
type trendNoise func(active []int) func(j, k int) (v, nu float64)

// departureTest finds departures from a rising trend.
type departureTest func(points []trendPoint, levels trendNoise) []departure

// noiseOptions says how to estimate the noise of a group. The zero value works.
type noiseOptions struct {
	lowerIsBetter bool          // which way the trend rises
	declared      float64       // relative SD of one run that the user declared; 0: none
	spent         float64       // share of the degrees of freedom that blocks took, 0 to 1 (1 - kappa)
	departures    departureTest // nil: no setting is looked at as departed
}

// settingNoise is the noise at one setting.
type settingNoise struct {
	v        float64 // variance of ln(result) of one run; NaN where the source is none
	nu       float64 // its degrees of freedom; 0 where the source is none, +Inf where declared
	source   NoiseSource
	isolated bool // its repeats differ too much to be pooled
}

// outlier points at a run that differs from its repeats. It stays in all numbers;
// only the user rejects.
type outlier struct {
	setting int // index among the samples
	run     int // index among the runs the samples were built from
}

// noiseEstimate is the noise of a group.
type noiseEstimate struct {
	source   NoiseSource // of the group: window if any setting's is
	settings []settingNoise
	outliers []outlier
	departed []departure

	points        []trendPoint
	pools         []pool    // per cell, before roughness
	ownVariances  []float64 // per sample: its own variance where it is odd, else 0
	withRoughness bool
}

// estimateNoise estimates the variance of one run at every setting of a group
// from the repeats and, where they are few, from the roughness of the curve.
// Samples must be in order of x. They are not changed.
func estimateNoise(samples []sample, opts noiseOptions) noiseEstimate {
	rep, kappa := newRepeats(samples), 1-opts.spent
	scales, windowed := rep.scales()
	noise := noiseEstimate{
		settings:     make([]settingNoise, len(samples)),
		points:       trendPoints(samples, opts.lowerIsBetter),
		ownVariances: make([]float64, len(samples)),
	}
	isolated := make([]bool, len(samples))
	for j := range samples {
		isolated[j] = rep.q[j] > isolateAt*scales[j]
		noise.settings[j].isolated = isolated[j]
		if isolated[j] {
			noise.outliers = append(noise.outliers, flagRuns(samples, j, scales[j])...)
		}
		if rep.q[j] > ownVarianceAt*scales[j] && kappa > 0 {
			noise.ownVariances[j] = rep.ss[j] / rep.df[j] / kappa
		}
	}
	var global pool
	noise.pools, global = rep.pools(isolated, windowed, kappa)
	noise.withRoughness = global.nu < poolMinNu
	noise.settle(samples, opts, global)
	return noise
}

// settle turns pools, roughness and departures into the noise of every cell.
func (n *noiseEstimate) settle(samples []sample, opts noiseOptions, global pool) {
	if opts.declared > 0 && global.df == 0 {
		n.declare(opts.declared)
		return
	}
	if n.withRoughness {
		n.fill(curveRoughness(n.points, allIndices(len(samples))))
	} else {
		n.fill(roughness{})
	}
	if opts.departures == nil {
		return
	}
	n.departed = opts.departures(n.points, n.levels)
	if n.withRoughness && len(n.departed) > 0 {
		n.fill(curveRoughness(n.points, n.inLine()))
	}
	for _, d := range n.departed {
		if c := &n.settings[d.setting]; n.points[d.setting].n == 1 && c.source != NoiseNone {
			dip := math.Log1p(d.change)
			c.v = math.Max(c.v, dip*dip) // one run cannot tell a dip from a bad run
		}
	}
}

// declare takes the user's relative SD c for every setting.
func (n *noiseEstimate) declare(c float64) {
	n.source, n.withRoughness = NoiseDeclared, false
	for j := range n.settings {
		n.settings[j].v, n.settings[j].nu, n.settings[j].source = math.Max(c*c, varianceFloor), math.Inf(1), NoiseDeclared
	}
}

// fill sets every cell's noise from its pool and the given roughness.
func (n *noiseEstimate) fill(r roughness) {
	n.source = NoiseNone
	for j := range n.settings {
		c := &n.settings[j]
		c.v, c.nu, c.source = n.level(j, r)
		if n.source == NoiseNone || c.source == NoiseWindow {
			n.source = c.source
		}
	}
}

// level joins the pool of cell j with roughness, weighted by their degrees of
// freedom. An odd sample has at least its own variance.
func (n *noiseEstimate) level(j int, r roughness) (v, nu float64, source NoiseSource) {
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
	return math.Max(math.Max(v, n.ownVariances[j]), varianceFloor), nu, source
}

// levels is the noise that tests for departures use: that of the group, or,
// where roughness is part of it, estimated anew without the setting tested.
func (n *noiseEstimate) levels(active []int) func(j, k int) (v, nu float64) {
	if !n.withRoughness {
		return func(_, k int) (float64, float64) { return n.settings[k].v, n.settings[k].nu }
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
func (n *noiseEstimate) inLine() []int {
	return slices.DeleteFunc(allIndices(len(n.points)), func(j int) bool {
		return slices.ContainsFunc(n.departed, func(d departure) bool { return d.setting == j })
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
func trendPoints(samples []sample, lowerIsBetter bool) []trendPoint {
	points := make([]trendPoint, len(samples))
	for j, s := range samples {
		points[j] = trendPoint{s.x, s.mean(), s.n()}
		if lowerIsBetter {
			points[j].z = -points[j].z
		}
	}
	return points
}

// flagRuns names the odd runs of an isolated cell: those far from the cell's
// median. Two runs are equally far from theirs, so that their results do not tell
// which of them is odd: both are named.
func flagRuns(samples []sample, j int, scale float64) []outlier {
	z := samples[j].z
	var flags []outlier
	centre := Median(z)
	for i, v := range z {
		if len(z) == 2 || math.Abs(v-centre) > isolateAt*scale {
			flags = append(flags, outlier{j, samples[j].runs[i]})
		}
	}
	return flags
}

// fProbability is P(F <= ratio) of the F distribution.
func fProbability(ratio, df1, df2 float64) float64 {
	return distuv.F{D1: df1, D2: df2}.CDF(ratio)
}
