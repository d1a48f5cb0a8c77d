package analysis

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

// Claims are what the summary of a page may say of all that the page shows: first which
// settings devices ignore or cap, then the comparisons in their order, then what does not
// fit the trend. What was read from JSON makes no claims.
//
// Leads are claimed within the page's Budget, see Restate: bands, a crossing between two
// bands that are claimed, and means. The tests of departures of all curves of the page
// share another 5 %. How often pages claim what is not so: TestStudyClaims.
func Claims(page []Evidence) []Claim {
	budget, tests := NewBudget(page), 0
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

// claims are those of one comparison: what is settled of it as the page's top may say it.
func (b Budget) claims(c *Comparison) []Claim {
	if c.made == nil {
		return nil
	}
	said := b.Restate(c)
	claim := Claim{
		Metric: c.Metric, Workload: c.Workload, Factor: c.Factor, A: c.A, B: c.B, Device: c.Device, Supply: c.Supply, Variant: c.Variant,
		At: c.At, Per: c.Per, AtW: Unknown(), Diff: Unknown(), Lower: Unknown(), Upper: Unknown(),
	}
	var list []Claim
	for _, x := range said.Bands {
		if x.Verdict != VerdictUnclear {
			k := claim
			k.Kind, k.Verdict, k.Diff, k.Lower, k.Upper = ClaimBand, x.Verdict, x.Diff, x.Lower, x.Upper
			k.FromW, k.From, k.ToW, k.To = x.FromW, x.From, x.ToW, x.To
			list = append(list, k)
		}
	}
	for _, x := range said.Crossings {
		k := claim
		k.Kind, k.AtW, k.FromW, k.ToW = ClaimCrossing, x.AtW, x.LowerW, x.UpperW
		list = append(list, k)
	}
	if o := said.Overall; o != nil && o.Verdict != VerdictUnclear {
		k, first, last := claim, said.Bands[0], said.Bands[len(said.Bands)-1]
		k.Kind, k.Verdict, k.Diff, k.Lower, k.Upper = ClaimOverall, o.Verdict, o.Diff, o.Lower, o.Upper
		k.FromW, k.From, k.ToW, k.To = first.FromW, first.From, last.ToW, last.To
		list = append(list, k)
	}
	return list
}
