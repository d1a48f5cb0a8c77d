package analysis

import (
	"math"
	"testing"
	"time"

	"sweepd/run"
)

// Two devices, three repeats; z, bounds and p by base R 4.2.2 to 10 digits.
var (
	oakResults = [][]float64{{50, 50.2, 49.9}, {60.3, 60, 60.1}, {70, 70.1, 69.5}, {80, 80.2, 79.9}}
	elmResults = [][]float64{{47, 47.3, 47.1}, {59.9, 60.2, 60.1}, {70.8, 70.5, 71.1}, {84, 84.5, 84.2}, {90, 90.2, 90.4}}
)

func oakAgainstElm() []run.Run {
	return append(sameSettings("unit-oak", []float64{10, 15, 20, 30}, oakResults),
		sameSettings("unit-elm", []float64{10, 15, 20, 30, 40}, elmResults)...)
}

// compareOne compares and expects one comparison.
func compareOne(t *testing.T, runs []run.Run, req CompareRequest) Comparison {
	t.Helper()
	result, err := Compare(runs, req)
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Comparisons) != 1 {
		t.Fatalf("%d comparisons, want 1: %+v", len(result.Comparisons), result.Comparisons)
	}
	return result.Comparisons[0]
}

func nearNumber(t *testing.T, what string, got Number, want, rel float64) {
	t.Helper()
	near(t, what, float64(got), want, rel)
}

func TestCompareNumbers(t *testing.T) {
	c := compareOne(t, oakAgainstElm(), CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	want := []struct {
		d, lower, upper, p float64
		verdict            Verdict
	}{
		{0.05970937888, 0.05387047274, 0.06924116612, 6.226710164e-14, VerdictA},
		{0.001109269506, -0.006111804423, 0.008384047876, 0.987600137, VerdictTie},
		{-0.01327141956, -0.02030232226, -0.006013438563, 0.000349315772, VerdictB},
		{-0.05114575071, -0.05671383325, -0.04295601118, 8.709785045e-13, VerdictB},
	}
	for i, w := range want {
		s := c.Settings[i]
		nearNumber(t, "se", s.SE, 0.002629059073, tenDigits)
		nearNumber(t, "df", s.DF, 17.69081112, tenDigits)
		near(t, "d", math.Log1p(float64(s.Diff)), w.d, tenDigits)
		nearNumber(t, "lower", s.Lower, w.lower, tenDigits)
		nearNumber(t, "upper", s.Upper, w.upper, tenDigits)
		nearNumber(t, "p", s.PAdjusted, w.p, 1e-8)
		if s.Verdict != w.verdict || s.MoreRuns == nil || *s.MoreRuns != 0 {
			t.Errorf("%g W: verdict %s, more runs %v; want %s, 0", s.SettingW, s.Verdict, s.MoreRuns, w.verdict)
		}
	}
	last := c.Settings[4]
	if last.Verdict != VerdictUnclear || last.Diff.Known() || last.Lower.Known() || last.PAdjusted.Known() ||
		last.MeanA.Known() || !last.MeanB.Known() || last.MoreRuns != nil || last.NA != 0 || last.NB != 3 {
		t.Errorf("40 W, not measured with a: %+v", last)
	}
	bands := []Band{{FromW: 10, ToW: 10, Verdict: VerdictA}, {FromW: 15, ToW: 15, Verdict: VerdictTie}, {FromW: 20, ToW: 30, Verdict: VerdictB}}
	if len(c.Bands) != len(bands) {
		t.Fatalf("bands %v, want %v", c.Bands, bands)
	}
	for i, b := range bands {
		if stretchOf(c.Bands[i]) != b {
			t.Errorf("band %v, want %v", c.Bands[i], b)
		}
	}
	if len(c.Crossings) != 1 {
		t.Fatalf("crossings %v, want one", c.Crossings)
	}
	nearNumber(t, "crossing", c.Crossings[0].AtW, 15.33658053, tenDigits)
	nearNumber(t, "crossing lower", c.Crossings[0].LowerW, 14.58521048, tenDigits)
	nearNumber(t, "crossing upper", c.Crossings[0].UpperW, 16.6348011, tenDigits)
	nearNumber(t, "overall", c.Overall.Diff, -0.000899225923, 1e-8)
	nearNumber(t, "overall lower", c.Overall.Lower, -0.003658111164, 1e-8)
	nearNumber(t, "overall upper", c.Overall.Upper, 0.001867298712, 1e-8)
	nearNumber(t, "overall df", c.Overall.DF, 17.69081112, tenDigits)
	if c.Overall.Verdict != VerdictTie {
		t.Errorf("overall %s, want tie", c.Overall.Verdict)
	}
}

// The same at 10 W alone: one setting, so Student's t. Base R 4.2.2.
func TestCompareOneSetting(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10}, oakResults), sameSettings("unit-elm", []float64{10}, elmResults)...)
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	s := c.Settings[0]
	nearNumber(t, "se", s.SE, 0.002622335844, tenDigits)
	nearNumber(t, "df", s.DF, 3.985837218, tenDigits)
	nearNumber(t, "lower", s.Lower, 0.05381655993, tenDigits)
	nearNumber(t, "upper", s.Upper, 0.06929586805, tenDigits)
	nearNumber(t, "p", s.PAdjusted, 2.268711161e-05, tenDigits)
	if s.Verdict != VerdictA || len(c.Bands) != 1 || len(c.Crossings) != 0 {
		t.Errorf("verdict %s, bands %v, crossings %v", s.Verdict, c.Bands, c.Crossings)
	}
}

// A crossing by itself, base R 4.2.2.
func TestCrossingNumbers(t *testing.T) {
	watts, d := []float64{10, 15, 20, 30}, []float64{0.03, 0.008, -0.004, -0.05}
	var bracket []*contrast
	for i := range watts {
		bracket = append(bracket, &contrast{x: math.Log(watts[i]), d: d[i], se: math.Sqrt(6e-5), nu: 24})
	}
	c := crossing(bracket, 0.95, false)
	nearNumber(t, "at", c.AtW, 18.17120593, tenDigits)
	nearNumber(t, "lower", c.LowerW, 13.70031481, tenDigits)
	nearNumber(t, "upper", c.UpperW, 21.68686102, tenDigits)
}

// NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: Welch's t test without the
// assumption of equal variances. rel 1e-10.
func TestWelchAUTO83B(t *testing.T) {
	k := contrast{
		meanA: 20.144578313253, meanB: 30.481012658228,
		va: 6.414699343243 * 6.414699343243 / 249, vb: 6.107710048643 * 6.107710048643 / 79, nuA: 248, nuB: 78,
	}
	k.measure()
	near(t, "T", k.d/k.se, -12.946273274932, 1e-10)
	near(t, "df", k.nu, 136.874976672583, 1e-10)
	near(t, "p", newMaxModulus(1, k.nu).adjusted(k.d/k.se), 1.57085478430e-25, 1e-6)
	lower, upper := effect{k.d, k.se, k.nu}.interval(0.95)
	near(t, "lower", lower, -11.9152480946, 1e-10)
	near(t, "upper", upper, -8.7576205953, 1e-10)
}

// Student's sleep data (Biometrika 1908; R 4.2.2): Welch's test from the data.
func TestWelchSleep(t *testing.T) {
	a := sample{z: []float64{.7, -1.6, -.2, -1.2, -.1, 3.4, 3.7, .8, 0, 2}}
	b := sample{z: []float64{1.9, .8, 1.1, .1, -.1, 4.4, 5.5, 1.6, 4.6, 3.4}}
	k := contrast{meanA: a.mean(), meanB: b.mean(), va: a.sumOfSquares() / 9 / 10, vb: b.sumOfSquares() / 9 / 10, nuA: 9, nuB: 9}
	k.measure()
	near(t, "t", k.d/k.se, -1.860813467487, tenDigits)
	near(t, "df", k.nu, 17.77647351618, tenDigits)
	near(t, "p", welchP(a.z, b.z), 0.0793941401874, tenDigits)
	lower, upper := effect{k.d, k.se, k.nu}.interval(0.95)
	near(t, "lower", lower, -3.36548323071, tenDigits)
	near(t, "upper", upper, 0.20548323071, tenDigits)
}

// Lakens 2017: equivalence by two one-sided tests is a 90 % interval inside the
// margin; its degrees of freedom and standard error. abs 1e-8.
func TestEquivalenceLakens(t *testing.T) {
	k := contrast{meanA: 5.25, meanB: 5.22, va: .95 * .95 / 95, vb: .83 * .83 / 89, nuA: 94, nuB: 88}
	k.measure()
	near(t, "df", k.nu, 181.134367161, tenDigits)
	near(t, "se", k.se, 0.131302891964, tenDigits)
	lower, upper := effect{k.d, k.se, k.nu}.interval(0.90)
	near(t, "lower", lower, -0.187084311828, 1e-8)
	near(t, "upper", upper, 0.247084311828, 1e-8)
	c := comparisonBuilder{}
	if got := c.verdict(lower, upper, 0.383568677032); got != VerdictTie {
		t.Errorf("verdict %s, want tie: both tests reject (p 0.00096 and 0.0039)", got)
	}
}

// JCGM 100:2008 (GUM) G.4.1: effective degrees of freedom, abs 1e-6.
func TestSatterthwaiteGUM(t *testing.T) {
	u := []float64{0.25, 0.57, 0.82}
	v := []float64{u[0] * u[0], u[1] * u[1], u[2] * u[2]}
	near(t, "nu_eff", satterthwaite(v, []float64{9, 4, 14}), 18.998742314, 1e-9)
}

// Fleming & Wallace 1986: the geometric mean of ratios does not depend on the
// base machine; times of five programs on machines R and M.
func TestGeometricMeanFlemingWallace(t *testing.T) {
	r, m := []float64{417, 83, 66, 39449, 772}, []float64{244, 70, 153, 33527, 368}
	var runs []run.Run
	for i := range r {
		at := time.Date(2026, 11, 24, i, 0, 0, 0, time.UTC)
		w := 10 + float64(i)
		for device, v := range map[string]float64{"unit-oak": m[i], "unit-elm": r[i]} {
			runs = append(runs, run.Run{ID: device, Labels: run.Labels{Device: device, Setting: run.Watts(w).From(run.Declared)}, StartedAt: run.Timestamp{Time: at},
				Results: map[string]run.Result{"seconds": {Value: v, Better: run.Lower}}})
		}
	}
	there := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	back := compareOne(t, runs, CompareRequest{By: "device", A: "unit-elm", B: "unit-oak"})
	nearNumber(t, "M/R", 1+there.Overall.Diff, 0.857436734, 1e-8)
	nearNumber(t, "R/M", 1+back.Overall.Diff, 1.166266804, 1e-8)
}
