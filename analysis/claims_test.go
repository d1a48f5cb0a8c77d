package analysis

import (
	"math"
	"slices"
	"testing"

	"sweepd/run"
)

// A page with two comparisons of 14 and 5 shared settings (methods, section 12, item 14;
// base R 4.2.2; t also by mpmath 1.3.0).
func TestBudgetNumbers(t *testing.T) {
	b := Budget{14 + 1 + 5 + 1}
	near(t, "q2, 14 settings", newMaxModulus(14, 40).twoSided(b.settings(14)), 3.228325576, tenDigits)
	near(t, "q2, 5 settings", newMaxModulus(5, 20).twoSided(b.settings(5)), 3.464191509, tenDigits)
	near(t, "t of a mean", studentQuantile((1+b.single())/2, 40), 3.244250768, tenDigits)
}

// The shares of a page, by Bonferroni, are 5 % in all.
func TestBudgetIsSpentOnce(t *testing.T) {
	shared := []int{14, 5, 1, 20}
	m := 0
	for _, k := range shared {
		m += k + 1
	}
	b, spent := Budget{m}, 0.0
	for _, k := range shared {
		spent += 1 - b.settings(k) + 1 - b.single()
	}
	within(t, "error of all claims", spent, 0.05, 1e-12)
}

// claimsOf are the claims of a page with one comparison of two devices and their curves.
func claimsOf(t *testing.T, runs []run.Run) []Claim {
	t.Helper()
	curve, err := Curve(runs, CurveRequest{})
	if err != nil {
		t.Fatal(err)
	}
	compare, err := Compare(runs, oakWithElm)
	if err != nil {
		t.Fatal(err)
	}
	return Claims([]Evidence{{&curve, []*CompareResult{&compare}}})
}

// oakWithElm compares the two devices of the examples.
var oakWithElm = CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"}

func ofKind(list []Claim, kind string) (some []Claim) {
	for _, k := range list {
		if k.Kind == kind {
			some = append(some, k)
		}
	}
	return some
}

// A page with one comparison of four settings: M = 5, and the bounds are those of the
// example (methods, section 12, item 4: se 0.002629059073, df 17.69081112), further out by
// the larger critical value of a share of 4/5 of 5 %. The bands and the crossing stay.
func TestClaimsOfOneComparison(t *testing.T) {
	list := claimsOf(t, oakAgainstElm())
	const se, df = 0.002629059073, 17.69081112
	critical := newMaxModulus(4, df).twoSided(0.96)
	bands := ofKind(list, ClaimBand)
	if len(bands) != 3 || bands[0].Verdict != VerdictA || bands[1].Verdict != VerdictTie || bands[2].Verdict != VerdictB {
		t.Fatalf("bands %+v", bands)
	}
	first := bands[0]
	if first.A != "unit-oak" || first.B != "unit-elm" || first.Factor != "device" || first.Metric != "score" || first.FromW != 10 || first.ToW != 10 || first.Device != nil || first.At != AtSetting {
		t.Errorf("%+v", first)
	}
	near(t, "d", math.Log1p(float64(first.Diff)), 0.05970937888, tenDigits)
	near(t, "lower", math.Log1p(float64(first.Lower)), 0.05970937888-critical*se, 1e-8)
	near(t, "upper", math.Log1p(float64(first.Upper)), 0.05970937888+critical*se, 1e-8)
	// The band of two settings: the means of differences and bounds.
	mean := (-0.01327141956 - 0.05114575071) / 2
	near(t, "mean of the band", math.Log1p(float64(bands[2].Diff)), mean, tenDigits)
	near(t, "lower of the band", math.Log1p(float64(bands[2].Lower)), mean-critical*se, 1e-8)
	if x := ofKind(list, ClaimCrossing); len(x) != 1 || math.Abs(float64(x[0].AtW)-15.33658053) > 1e-7 || !(x[0].FromW < 14.5852 && x[0].ToW > 16.6349) {
		t.Errorf("crossing %+v, want at 15.3366 W, wider than 14.5852 to 16.6348 W", x)
	}
	// The mean: half width t(1 - 0.05/10; df) se/2, and level as before.
	o := ofKind(list, ClaimOverall)
	if len(o) != 1 || o[0].Verdict != VerdictTie || o[0].FromW != 10 || o[0].ToW != 30 {
		t.Fatalf("mean %+v", o)
	}
	near(t, "upper of the mean", float64(o[0].Upper), math.Expm1(math.Log1p(-0.000899225923)+studentQuantile(0.995, df)*se/2), 1e-7)
}

// The more comparisons a page makes, the less each of them claims: what one alone would
// claim, seven others of as many settings take back; and the fields of compare stay.
func TestClaimsShareTheBudget(t *testing.T) {
	watts := []float64{10, 15, 20, 30}
	runs := append(sameSettings("unit-oak", watts, [][]float64{{50, 50.5, 49.5}, {60, 60.6, 59.4}, {70, 70.7, 69.3}, {80, 80.8, 79.2}}),
		sameSettings("unit-elm", watts, [][]float64{{50, 50.5, 49.5}, {60, 60.6, 59.4}, {70, 70.7, 69.3}, {82.35, 83.15, 81.55}})...)
	one := claimsOf(t, runs)
	ahead := func(list []Claim) int {
		return len(slices.DeleteFunc(ofKind(list, ClaimBand), func(k Claim) bool { return k.Verdict == VerdictTie }))
	}
	if ahead(one) != 1 {
		t.Fatalf("one comparison claims %+v, want elm ahead at 30 W", one)
	}
	var all []run.Run
	for k := range 8 {
		for _, r := range runs {
			r.ID, r.Workload = r.ID+string(rune('a'+k)), "tile-sort-"+string(rune('a'+k))
			all = append(all, r)
		}
	}
	compare, err := Compare(all, oakWithElm)
	if err != nil {
		t.Fatal(err)
	}
	before := jsonOf(t, compare)
	if list := Claims([]Evidence{{Comparisons: []*CompareResult{&compare}}}); ahead(list) != 0 {
		t.Errorf("eight comparisons claim %+v, want nothing", list)
	}
	if jsonOf(t, compare) != before || compare.Comparisons[0].Settings[3].Verdict != VerdictB {
		t.Error("making claims changed the comparison")
	}
}

// What a side does not keep is claimed as its cap, before any lead, and in no band, crossing
// or mean.
func TestClaimsLeaveOutWhatIsNotKept(t *testing.T) {
	level := []float64{30, 38, 45, 52, 60, 70, 80, 88, 92}
	capped := []float64{46, 46.5, 46, 52.1, 60.1, 69.9, 80.2, 84, 84.1}
	runs := append(drawing(sameSettings("unit-oak", followedSet, threeOf(capped)), func(w float64) float64 { return followedDrawn[w] }),
		drawing(sameSettings("unit-elm", followedSet, threeOf(level)), obeys)...)
	list := claimsOf(t, runs)
	if len(list) < 3 || list[0].Kind != ClaimCap || list[1].Kind != ClaimFloor {
		t.Fatalf("claims %+v, want a cap and a floor first", list)
	}
	if k := list[0]; *k.Device != "unit-oak" || k.FromW != 45 || k.ToW != 60 || math.Abs(float64(k.AtW)-40.74332034) > 1e-8 || k.Source != RangeFromPackage || k.Factor != "" {
		t.Errorf("cap %+v", k)
	}
	if k := list[1]; k.FromW != 6 || k.ToW != 10 || math.Abs(float64(k.AtW)-10.99659861) > 1e-8 {
		t.Errorf("floor %+v", k)
	}
	for _, k := range list[2:] {
		if k.Factor == "device" && !(k.FromW >= 12 && k.ToW <= 30) {
			t.Errorf("claimed of settings that are not equal power: %+v", k)
		}
	}
}

// The example of methods, section 12, item 9, twice on a page: 28 tests of each curve, and
// 24 once 50 W is out, among those of the other. p and bounds by mpmath 1.3.0.
func TestTrendTestsOfAPage(t *testing.T) {
	watts := []float64{8, 10, 12, 15, 18, 22, 26, 30, 40, 50}
	points := curvePoints(watts, []float64{40, 48, 54, 61, 66, 66.5, 74, 77, 79, 74}, 3)
	found := departuresAmong(28)(points, fixedNoise(1e-4, 20))
	if len(found) != 2 || watts[found[0].setting] != 50 || watts[found[1].setting] != 22 {
		t.Fatalf("%+v, want 50 W and 22 W", found)
	}
	within(t, "p at 50 W", found[0].pAdjusted, 3.21557022718e-6, 1e-15)
	within(t, "p at 22 W", found[1].pAdjusted, 4.91775528424e-6, 1e-15)
	within(t, "lower at 50 W", found[0].lower, -0.0904286231702, 1e-12)
	within(t, "upper at 50 W", found[0].upper, -0.0353439958902, 1e-12)
	within(t, "lower at 22 W", found[1].lower, -0.0770288359893, 1e-12)
	within(t, "upper at 22 W", found[1].upper, -0.0291834935077, 1e-12)
}

// The same through runs: a dip at 22 W, and a fall to 50 W from 40 W. A dip that one curve
// alone shows is not claimed on a page of many curves.
func TestClaimsOnDipsAndFalls(t *testing.T) {
	watts := []float64{8, 10, 12, 15, 18, 22, 26, 30, 40, 50}
	runs := sameSettings("unit-oak", watts, threeOf([]float64{40, 48, 54, 61, 66, 66.5, 74, 77, 79, 74}))
	curve, err := Curve(runs, CurveRequest{})
	if err != nil {
		t.Fatal(err)
	}
	list := Claims([]Evidence{{Curve: &curve}})
	dips, falls := ofKind(list, ClaimDip), ofKind(list, ClaimFall)
	if len(dips) != 1 || dips[0].AtW != 22 || dips[0].FromW != 22 || !(dips[0].Lower < dips[0].Diff && dips[0].Diff < dips[0].Upper && dips[0].Upper < 0) {
		t.Errorf("dips %+v", dips)
	}
	within(t, "dip", float64(dips[0].Diff), -0.05340840853, 1e-8)
	if len(falls) != 1 || falls[0].FromW != 40 || falls[0].ToW != 50 || falls[0].AtW.Known() {
		t.Errorf("falls %+v", falls)
	}
	within(t, "fall", float64(falls[0].Diff), 74.0/79-1, 1e-8)
	// 1.1 % at 22 W is a departure of one curve (p 0.011), and nothing among twenty.
	weak := sameSettings("unit-oak", watts, threeOf([]float64{40, 48, 54, 61, 66, 69.45, 74, 77, 79, 81}))
	var many []run.Run
	for k := range 20 {
		for _, r := range weak {
			r.ID, r.Workload = r.ID+string(rune('a'+k)), "tile-sort-"+string(rune('a'+k))
			many = append(many, r)
		}
	}
	count := func(runs []run.Run) (departures, dips int) {
		curve, err := Curve(runs, CurveRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return len(curve.Groups[0].Departures), len(ofKind(Claims([]Evidence{{Curve: &curve}}), ClaimDip))
	}
	if departures, dips := count(weak); departures != 1 || dips != 1 {
		t.Errorf("one curve: %d departures, %d dips claimed; want 1, 1", departures, dips)
	}
	if departures, dips := count(many); departures != 1 || dips != 0 {
		t.Errorf("twenty curves: %d departures, %d dips claimed; want 1, 0", departures, dips)
	}
}

// One run alone claims no dip: it cannot be told from a bad run.
func TestOneRunClaimsNoDip(t *testing.T) {
	random := studyRandom(900, 0)
	c := newCurveCampaign(random, studyWatts, 1)
	departures, dips := 0, 0
	for range 50 {
		curve, err := Curve(c.draw(0.005, dip(map[float64]float64{20: 0.06}), nil, 0), CurveRequest{})
		if err != nil {
			t.Fatal(err)
		}
		departures += len(curve.Groups[0].Departures)
		dips += len(ofKind(Claims([]Evidence{{Curve: &curve}}), ClaimDip))
	}
	if departures < 45 || dips != 0 {
		t.Errorf("%d departures, %d dips claimed; want about 50, 0", departures, dips)
	}
}

// What was read from JSON, where no setting is shared, and without anything there is
// nothing to claim.
func TestNoClaims(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10, 15}, oakResults), sameSettings("unit-elm", []float64{12, 18}, elmResults)...)
	if list := claimsOf(t, runs); len(ofKind(list, ClaimBand))+len(ofKind(list, ClaimOverall)) != 0 {
		t.Errorf("no shared setting: %+v", list)
	}
	read := CompareResult{Comparisons: []Comparison{{A: "unit-oak"}}}
	if list := Claims([]Evidence{{&CurveResult{Groups: []CurveGroup{{}}}, []*CompareResult{&read}}, {}}); list == nil || len(list) != 0 {
		t.Errorf("read from JSON: %+v", list)
	}
}

// Restated, a comparison says what is claimed of it, and is itself left alone.
func TestRestate(t *testing.T) {
	level := []float64{30, 38, 45, 52, 60, 70, 80, 88, 92}
	capped := []float64{46, 46.5, 46, 52.1, 60.1, 69.9, 80.2, 84, 84.1}
	runs := append(drawing(sameSettings("unit-oak", followedSet, threeOf(capped)), func(w float64) float64 { return followedDrawn[w] }),
		drawing(sameSettings("unit-elm", followedSet, threeOf(level)), obeys)...)
	for name, runs := range map[string][]run.Run{"all kept": oakAgainstElm(), "some kept": runs} {
		compare, err := Compare(runs, oakWithElm)
		if err != nil {
			t.Fatal(err)
		}
		before := jsonOf(t, compare)
		page := []Evidence{{Comparisons: []*CompareResult{&compare}}}
		list, x := Claims(page), NewBudget(page).Restate(&compare.Comparisons[0])
		if after := jsonOf(t, compare); after != before {
			t.Errorf("%s: the comparison was changed", name)
		}
		claimed := ofKind(list, ClaimBand)
		said := slices.DeleteFunc(slices.Clone(x.Bands), func(b Band) bool { return b.Verdict == VerdictUnclear })
		if len(said) == 0 || len(said) != len(claimed) || len(x.Crossings) != len(ofKind(list, ClaimCrossing)) || x.Part != (name == "some kept") {
			t.Fatalf("%s: bands %+v, crossings %+v, claims %+v", name, x.Bands, x.Crossings, list)
		}
		for i, b := range said {
			if k := claimed[i]; b.FromW != k.FromW || b.ToW != k.ToW || b.Verdict != k.Verdict {
				t.Errorf("%s: band %+v, claim %+v", name, b, k)
			}
		}
		for i, s := range x.Settings {
			was := compare.Comparisons[0].Settings[i]
			if was.Lower.Known() && !(s.Lower < was.Lower && s.Upper > was.Upper && s.Diff == was.Diff) || s.PackageWA.Known() != was.PackageWA.Known() {
				t.Errorf("%s, %g W: %+v, was %+v", name, s.SettingW, s, was)
			}
		}
		if o := ofKind(list, ClaimOverall); len(o) != 1 || o[0].Lower != x.Overall.Lower || o[0].Upper != x.Overall.Upper {
			t.Errorf("%s: mean %+v, claim %+v", name, x.Overall, o)
		}
	}
	read := Comparison{A: "unit-oak"}
	if x := (Budget{5}).Restate(&read); x.A != "unit-oak" || x.Bands != nil {
		t.Errorf("read from JSON: %+v", x)
	}
}
