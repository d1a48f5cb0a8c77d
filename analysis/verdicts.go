package analysis

import "math"

// decide gives every contrast its bounds, p and verdict, and says how many more runs
// would settle it; family is the number of settings that are adjusted together, to hold
// with this confidence.
func (c *comparisonBuilder) decide(family int, confidence float64) {
	c.family = family
	shared := c.sharedContrasts()
	c.bound(family, confidence)
	planner := newRunPlanner(family, len(shared), confidence)
	for _, k := range shared {
		k.more = planner.moreRuns(k, math.Log1p(*c.req.Margin))
	}
}

// bound gives every contrast bounds that hold at so many settings together, with p and
// verdict.
//
// One set of simultaneous bounds serves all verdicts, so table, chart and
// sentence cannot contradict each other: a tie if both bounds lie strictly
// inside the margin, a side where both lie on one side of 0, else unclear.
// [Schuirmann 1987; Berger & Hsu 1996]
func (c *comparisonBuilder) bound(family int, confidence float64) {
	margin := math.Log1p(*c.req.Margin)
	var modulus *maxModulus
	critical := math.NaN()
	for i := range c.contrasts {
		k := &c.contrasts[i]
		k.t, k.lower, k.upper, k.p, k.verdict = math.NaN(), math.NaN(), math.NaN(), math.NaN(), VerdictUnclear
		if !k.shared() || !(k.nu >= leastNu) {
			continue
		}
		if modulus == nil || modulus.nu != k.nu {
			modulus = newMaxModulus(family, k.nu)
			critical = modulus.twoSided(confidence)
		}
		k.t = k.d / k.se
		k.p = modulus.adjusted(k.t)
		k.lower, k.upper = k.d-critical*k.se, k.d+critical*k.se
		k.verdict = c.verdict(k.lower, k.upper, margin)
	}
	c.withdrawUnsupportedWins(c.sharedContrasts())
}

// verdict reads bounds of the difference of logarithms; unclear where they are
// not known.
func (c *comparisonBuilder) verdict(lower, upper, margin float64) Verdict {
	ahead, behind := VerdictA, VerdictB
	if c.lower {
		ahead, behind = behind, ahead
	}
	switch {
	case lower > -margin && upper < margin:
		return VerdictTie
	case lower > 0:
		return ahead
	case upper < 0:
		return behind
	}
	return VerdictUnclear
}

// supportAt is |d|/se at which a neighbouring setting supports a single run.
const supportAt = 2.0

// withdrawUnsupportedWins takes a win back that rests on a single run of a side and
// that no neighbouring setting supports: one slow run looks just like it.
func (c *comparisonBuilder) withdrawUnsupportedWins(shared []*contrast) {
	if len(shared) < 2 {
		return
	}
	supports := func(i int, d float64) bool {
		return i >= 0 && i < len(shared) && (shared[i].d > 0) == (d > 0) && math.Abs(shared[i].t) >= supportAt
	}
	for i, k := range shared {
		won := k.verdict == VerdictA || k.verdict == VerdictB
		if won && min(k.nA, k.nB) == 1 && !supports(i-1, k.d) && !supports(i+1, k.d) {
			k.verdict = VerdictUnclear
		}
	}
}
