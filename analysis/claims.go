package analysis

import (
	"math"
	"slices"
)

// What a claim says.
const (
	ClaimBand     = "band"     // one verdict, a, b or tie, from FromW to ToW
	ClaimOverall  = "overall"  // one verdict, a, b or tie, of the mean from FromW to ToW
	ClaimCrossing = "crossing" // the lead changes at AtW, at any place from FromW to ToW
	ClaimFloor    = "floor"    // set from FromW to ToW, the device acts as if set to AtW, which is more
	ClaimCap      = "cap"      // set from FromW to ToW, the device acts as if set to AtW, which is less
	ClaimDip      = "dip"      // the result at AtW lies below the trend of those around it
	ClaimFall     = "fall"     // the result falls from FromW on to the largest setting, ToW
)

// Claim is one thing that the summary of a page may say. All bands, crossings and means
// of a page hold together with 95 %, and all dips and falls with another 95 %; floors and
// caps have no error rate, see TestStudyEffectiveRange.
//
// Of comparisons Factor, A and B say what was compared, and Device, Supply and Variant
// are nil where the sides differ in them; a claim on one curve has no Factor. Diff is
// a/b - 1, of a dip or fall how far the result lies off, negative being worse; Lower and
// Upper are its bounds. Numbers that a kind does not have are unknown.
type Claim struct {
	Kind     string  `json:"kind"`
	Metric   string  `json:"metric"`
	Workload string  `json:"workload"`
	Factor   string  `json:"factor"`
	A        string  `json:"a"`
	B        string  `json:"b"`
	Device   *string `json:"device"`
	Supply   *string `json:"supply"`
	Variant  *string `json:"variant"`
	At       string  `json:"at"`  // the watts on the axis: setting, package or system
	Per      string  `json:"per"` // results are divided by these watts; "" for none

	Verdict Verdict `json:"verdict"` // of a band or mean, else empty
	AtW     Number  `json:"at_w"`
	FromW   Number  `json:"from_w"`
	ToW     Number  `json:"to_w"`
	From    string  `json:"from"` // names where the watts are unknown
	To      string  `json:"to"`
	Diff    Number  `json:"diff"`
	Lower   Number  `json:"lower"`
	Upper   Number  `json:"upper"`
	Source  string  `json:"source"` // of a floor or cap, see Effective; else empty
}

// Evidence is what the analysis found of one metric for a page.
type Evidence struct {
	Curve       *CurveResult // nil: none
	Comparisons []*CompareResult
}

// claimError is the chance that any claim on a lead is wrong, and again that any on dips
// and falls is.
const claimError = 1 - confidence

// Claims are what the summary of a page may say of all that the page shows: first which
// settings devices ignore or cap, then the comparisons in their order, then what does not
// fit the trend. What was read from JSON makes no claims.
//
// A page of many comparisons has one error budget. Comparison k with m_k shared settings
// has the share 0.05 (m_k + 1)/M, M = sum (m_k + 1): m_k parts for its settings, whose
// bounds are made anew with the studentised maximum modulus, and one for its mean, with
// t(1 - 0.05/(2M)); by Bonferroni, so that comparisons may share runs. Verdicts and bands
// follow from these bounds by the rules of Compare. A crossing is claimed between two bands
// that are, with an interval at the level of a mean. Settings that a side does not keep are
// in no claim. [Bonferroni; the rest as Compare]
//
// The tests of departures of all curves of the page share another 5 %. How often pages
// claim what is not so: TestStudyClaims.
func Claims(page []Evidence) []Claim {
	budget, tests := budgetOf(page), 0
	own := map[*curveGroup]int{}
	each := func(visit func(*CurveResult, *CurveGroup)) {
		for _, e := range page {
			if e.Curve == nil {
				continue
			}
			for i := range e.Curve.Groups {
				if g := &e.Curve.Groups[i]; g.made != nil {
					visit(e.Curve, g)
				}
			}
		}
	}
	each(func(_ *CurveResult, g *CurveGroup) {
		own[g.made] = g.made.trendTests()
		tests += own[g.made]
	})
	list := []Claim{}
	each(func(r *CurveResult, g *CurveGroup) { list = append(list, g.rangeClaims(r.Metric)...) })
	for _, e := range page {
		for _, r := range e.Comparisons {
			for i := range r.Comparisons {
				list = append(list, budget.claims(&r.Comparisons[i])...)
			}
		}
	}
	each(func(r *CurveResult, g *CurveGroup) {
		list = append(list, g.trendClaims(r.Metric, tests-own[g.made])...)
	})
	return list
}

// budget is the M of a page's claims on leads.
type budget float64

func budgetOf(page []Evidence) budget {
	m := 0
	for _, e := range page {
		for _, r := range e.Comparisons {
			for i := range r.Comparisons {
				if c := r.Comparisons[i].made; c != nil && c.sharedSettings() > 0 {
					m += c.sharedSettings() + 1
				}
			}
		}
	}
	return budget(m)
}

// settings is the confidence of the bounds of m settings together.
func (b budget) settings(m int) float64 { return 1 - claimError*float64(m)/float64(b) }

// single is the confidence of one interval.
func (b budget) single() float64 { return 1 - claimError/float64(b) }

// claims are those of one comparison.
func (b budget) claims(c *Comparison) []Claim {
	if c.made == nil || c.made.sharedSettings() == 0 {
		return nil
	}
	made := *c.made
	made.contrasts = slices.Clone(made.contrasts)
	made.bound(made.sharedSettings(), b.settings(made.sharedSettings()))
	parts := stretches(made.sharedContrasts())
	if len(parts) == 0 {
		return nil
	}
	claim := Claim{
		Metric: c.Metric, Workload: c.Workload, Factor: c.Factor, A: c.A, B: c.B, Device: c.Device, Supply: c.Supply, Variant: c.Variant,
		At: c.At, Per: c.Per, AtW: Unknown(), Diff: Unknown(), Lower: Unknown(), Upper: Unknown(),
	}
	var list []Claim
	for _, part := range parts {
		list = append(list, bandClaims(claim, part)...)
		if !made.named() {
			for _, x := range crossings(part, b.single(), made.joint) {
				k := claim
				k.Kind, k.AtW, k.FromW, k.ToW = ClaimCrossing, x.AtW, x.LowerW, x.UpperW
				list = append(list, k)
			}
		}
	}
	lower, upper := made.followed.interval(b.single())
	k, first, last := claim, parts[0][0], parts[len(parts)-1]
	k.Kind, k.Verdict = ClaimOverall, made.verdict(lower, upper, math.Log1p(*made.req.Margin))
	k.span(first, last[len(last)-1])
	k.Diff, k.Lower, k.Upper = relative(made.followed.d), relative(lower), relative(upper)
	if k.Verdict != VerdictUnclear {
		list = append(list, k)
	}
	return list
}

// span says from which setting to which a claim is.
func (k *Claim) span(from, to *contrast) {
	k.FromW, k.From, k.ToW, k.To = Number(from.watts), from.name, Number(to.watts), to.name
}

// bandClaims are the bands of a stretch that settle something. The difference is the mean
// over the settings of the band, bounded by the means of their bounds.
func bandClaims(claim Claim, stretch []*contrast) []Claim {
	var list []Claim
	for from := 0; from < len(stretch); {
		to := from
		var d, lower, upper float64
		for to < len(stretch) && stretch[to].verdict == stretch[from].verdict {
			k := stretch[to]
			d, lower, upper = d+k.d, lower+k.lower, upper+k.upper
			to++
		}
		if stretch[from].verdict != VerdictUnclear {
			n, k := float64(to-from), claim
			k.Kind, k.Verdict = ClaimBand, stretch[from].verdict
			k.span(stretch[from], stretch[to-1])
			k.Diff, k.Lower, k.Upper = relative(d/n), relative(lower/n), relative(upper/n)
			list = append(list, k)
		}
		from = to
	}
	return list
}
