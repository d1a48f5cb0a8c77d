package analysis

import "slices"

// Evidence is what the analysis found of one metric for a page.
type Evidence struct {
	Curve       *CurveResult // nil: none
	Comparisons []*CompareResult
}

// claimError is the chance that any claim of a page on a lead is wrong, and again that any
// on dips and falls is.
const claimError = 1 - confidence

// Budget is the error budget of what a page says of leads at its top: 5 % for all of it
// together. Comparison k with m_k shared settings has the share 0.05 (m_k + 1)/M,
// M = sum (m_k + 1) over the comparisons of the page: m_k parts for its settings, whose
// bounds hold together with the studentised maximum modulus, and one for its mean, with
// t(1 - 0.05/(2M)); by Bonferroni, so that comparisons may share runs. Putting M in the
// place of m would assume one variance for all.
//
// An interval of a crossing is at the level of a mean: it is not among the M, and a page
// of so many crossings errs by so many times 0.05/M more.
type Budget struct{ m int }

// NewBudget is the budget of a page that shows all this. Comparisons that were read from
// JSON are not on it.
func NewBudget(page []Evidence) Budget {
	var b Budget
	for _, e := range page {
		for _, r := range e.Comparisons {
			for i := range r.Comparisons {
				if c := r.Comparisons[i].made; c != nil && c.sharedSettings() > 0 {
					b.m += c.sharedSettings() + 1
				}
			}
		}
	}
	return b
}

// settings is the confidence of the bounds of m settings together.
func (b Budget) settings(m int) float64 { return 1 - claimError*float64(m)/float64(b.m) }

// single is the confidence of one interval.
func (b Budget) single() float64 { return 1 - claimError/float64(b.m) }

// Restate is a comparison of the page as its top may say it: with the bounds of the budget,
// the verdicts, bands and further runs that follow from them by the rules of Compare, and
// over the settings that are not known to be kept by one side only, or by none. One that
// was read from JSON stays as it is. c is left alone.
func (b Budget) Restate(c *Comparison) Comparison {
	out := *c
	if b.m == 0 || c.made == nil || c.made.sharedSettings() == 0 {
		return out
	}
	made := b.decided(c.made)
	out.Settings = slices.Clone(c.Settings)
	for i := range made.contrasts {
		s := made.contrasts[i].setting()
		s.PackageWA, s.PackageWB = c.Settings[i].PackageWA, c.Settings[i].PackageWB
		out.Settings[i] = s
	}
	out.Bands, out.Crossings, out.Overall = []Band{}, []Crossing{}, nil
	for _, part := range stretches(made.sharedContrasts()) {
		out.Bands = append(out.Bands, bands(part)...)
		if !made.named() {
			out.Crossings = append(out.Crossings, crossings(part, b.single(), made.joint)...)
		}
		out.Overall = made.overallOf(made.followed, b.single())
	}
	out.Part = slices.ContainsFunc(made.sharedContrasts(), func(k *contrast) bool { return !k.counts() })
	out.BandsFollowed, out.CrossingsFollowed, out.OverallFollowed = out.Bands, out.Crossings, out.Overall
	return out
}

// decided is a comparison with the bounds of the budget, and the verdicts and further runs
// that follow from them.
func (b Budget) decided(c *comparisonBuilder) *comparisonBuilder {
	made, m := *c, c.sharedSettings()
	made.contrasts = slices.Clone(c.contrasts)
	made.decide(m, b.settings(m))
	return &made
}
