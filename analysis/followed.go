package analysis

import "sweepd/run"

// packageRange fits the range of settings that a device follows to the package watts of
// its runs, see effectiveRange; set are the settings that have them, which the fit counts.
// ok is false where fewer than three settings, or fewer than half, have package watts.
func packageRange(runs []run.Run, samples []sample) (fit rangeFit, set []float64, ok bool) {
	var power, n []float64
	for _, s := range samples {
		if mean, count := meanPower(runs, s, packagePower); count > 0 {
			set, power, n = append(set, s.watts), append(power, mean), append(n, float64(count))
		}
	}
	if len(set) < leastPackageForRange || 2*len(set) < len(samples) {
		return rangeFit{}, set, false
	}
	return effectiveRange(set, power, n), set, true
}

// keeps tells of each setting whether the side follows it, by its package watts: nothing
// where they do not tell.
func (s *side) keeps() func(watts float64) *bool {
	if !byWatts(s.samples) {
		return func(float64) *bool { return nil }
	}
	fit, set, ok := packageRange(s.runs, s.samples)
	if !ok {
		return func(float64) *bool { return nil }
	}
	return func(watts float64) *bool {
		inside := (fit.from == 0 || watts >= set[fit.from]) && (fit.to == len(set)-1 || watts <= set[fit.to])
		return &inside
	}
}

// markFollowed says of every shared setting whether both sides follow it: where one does
// not, equal settings are not equal power.
func (c *comparisonBuilder) markFollowed() {
	keepsA, keepsB := c.a.keeps(), c.b.keeps()
	for _, k := range c.sharedContrasts() {
		k.followed = both(keepsA(k.watts), keepsB(k.watts))
	}
}

// both is whether two things hold: surely not where one does not, unknown where one is.
func both(a, b *bool) *bool {
	switch {
	case a != nil && !*a:
		return a
	case b == nil || !*b:
		return b
	}
	return a
}

// counts tells whether a contrast counts in what is said of a comparison at first:
// whatever is not known to be no comparison of equal power.
func (k *contrast) counts() bool { return k.followed == nil || *k.followed }

// stretches are the longest stretches of neighbouring contrasts that count.
func stretches(shared []*contrast) [][]*contrast {
	var list [][]*contrast
	for i, k := range shared {
		switch {
		case !k.counts():
		case i > 0 && shared[i-1].counts():
			list[len(list)-1] = append(list[len(list)-1], k)
		default:
			list = append(list, []*contrast{k})
		}
	}
	return list
}
