package analysis

import "math"

// What more_runs plans for.
const (
	plannedDifference = 0.03      // relative difference to be found
	plannedPowerZ     = 0.8416212 // normal quantile of the chance to find it, 0.8
	mostRuns          = 2000      // runs per cell at which planning stops
)

// runPlanner says how many runs would settle a setting. It keeps the critical
// values by number of runs, which the settings share.
type runPlanner struct {
	family, shared  int
	confidence      float64
	criticalKnownSD float64 // critical value if the noise were known
	critical        map[int]float64
}

func newRunPlanner(family, shared int, confidence float64) *runPlanner {
	known := newMaxModulus(family, math.Inf(1)).twoSided(confidence)
	return &runPlanner{family, shared, confidence, known, make(map[int]float64)}
}

// criticalAt is the critical value with n runs in every cell of both sides.
func (p *runPlanner) criticalAt(n int) float64 {
	c, ok := p.critical[n]
	if !ok {
		c = newMaxModulus(p.family, float64(2*p.shared*(n-1))).twoSided(p.confidence)
		p.critical[n] = c
	}
	return c
}

// smallest is the least n from 2 to mostRuns with
// (critical(n) + z) sqrt(perRun/n) <= bound. The critical value falls with n
// towards that of a known SD, which gives the place to start from.
func (p *runPlanner) smallest(perRun, z, bound float64) int {
	least := (p.criticalKnownSD + z) * (p.criticalKnownSD + z) / bound * perRun / bound
	if !(least < mostRuns) {
		return mostRuns
	}
	n := max(int(math.Ceil(least)), 2)
	for n < mostRuns && (p.criticalAt(n)+z)*math.Sqrt(perRun/float64(n)) > bound {
		n++
	}
	return n
}

// moreRuns is the number of further runs on each side that would find a 3 %
// difference with a chance of 0.8; where the runs at hand suffice for that, the
// number that would tell the small difference from 0 or from the margin. 0 for a
// settled setting, nil where the noise is not known.
func (p *runPlanner) moreRuns(k *contrast, margin float64) *int {
	more := 0
	if k.verdict != VerdictUnclear {
		return &more
	}
	if math.IsNaN(k.perRun) {
		return nil
	}
	have := min(k.nA, k.nB)
	more = p.smallest(k.perRun, plannedPowerZ, math.Log1p(plannedDifference)) - have
	if more <= 0 {
		apart := math.Max(math.Abs(k.d), margin-math.Abs(k.d))
		more = max(p.smallest(k.perRun, 0, apart)-have, 1)
	}
	return &more
}
