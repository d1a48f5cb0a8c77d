package analysis

import (
	"math"
	"testing"

	"sweepd/run"
)

// Six settings with 3 runs each, s = 1 % with 12 df, so that a difference of two
// means has the standard error 0.01 sqrt(2/3) = 0.00816. The one-sided value for
// five comparisons, q1(0.95; 5, 12), lies between Dunnett's for correlated
// differences (2.50, Dunnett 1955, JASA 50, between 10 df 2.56 and 15 df 2.44) and
// Bonferroni's t(0.99; 12) = 2.681 (any table), so what lies 0.0219 below the best
// is told and what lies 0.0204 below is not: 0.0200 (78.42) belongs to the stretch,
// 0.0248 (78.04) and more do not, and 0.0019 (79.85) beyond a gap does not either.
func TestBestByHand(t *testing.T) {
	e := plainEstimates([]float64{76.48, 78.04, 78.42, 80, 77, 79.85}, 3, 1e-4, 12)
	samples := make([]sample, len(e))
	got := bestOf(samples, e)
	if got.AtW != 4 || got.FromW != 3 || got.ToW != 4 {
		t.Errorf("%+v, want the best at 4, not told from 3 to 4", got)
	}
	// The same of times: the estimates of a metric where less is better are turned.
	runs := sameSettings("unit-oak", []float64{10, 20, 30, 40}, [][]float64{{90, 90.2, 89.8}, {70.1, 70.3, 69.9}, {70, 70.2, 69.8}, {75, 75.2, 74.8}})
	for i := range runs {
		runs[i].Results = map[string]run.Result{"seconds": {Value: runs[i].Results["score"].Value, Unit: "s", Better: run.Lower}}
	}
	if got := oneCurve(t, runs, CurveRequest{}).Best; got.AtW != 30 || got.FromW != 20 || got.ToW != 30 {
		t.Errorf("%+v, want the least time at 30 W, not told from 20 W to 30 W", got)
	}
	// Without noise nothing is told.
	if got := oneCurve(t, runs[:1], CurveRequest{}).Best; got.AtW != 10 || got.FromW.Known() || got.ToW.Known() {
		t.Errorf("one run: %+v", got)
	}
	e = plainEstimates([]float64{1, 2}, 3, 1e-4, 12)
	e[0].watts, e[1].watts = math.NaN(), math.NaN()
	if got := bestOf([]sample{{name: "quiet"}, {name: "balanced"}}, e); got.At != "balanced" || got.From != "balanced" || got.To != "balanced" || got.AtW.Known() {
		t.Errorf("by name: %+v", got)
	}
}

// Planted: the result rises to 30 W and stays, but for 0.3 % more at 40 W. The best
// mean may be anywhere from 30 W up; in 95 % of curves the best in truth, 40 W, is
// in the stretch, which never reaches down to 22 W, 16 % below.
func TestBestHoldsTheTruth(t *testing.T) {
	curves := studySize(1000)
	level := func(w float64) float64 {
		if w == 40 {
			return 100.3
		}
		return 40 + 2*min(w, 30)
	}
	atMost(t, "the best left out", 3, shareOf(t, curves, 3, level, func(g CurveGroup) bool { return !(g.Best.FromW <= 40 && g.Best.ToW >= 40) }), 0.05)
	atMost(t, "a setting 16 % below taken in", 3, shareOf(t, curves, 3, level, func(g CurveGroup) bool { return g.Best.FromW <= 22 }), 0)
	elsewhere := shareOf(t, 100, 3, level, func(g CurveGroup) bool { return g.Best.AtW != 40 && g.Best.AtW >= 30 })
	if elsewhere < 0.2 {
		t.Errorf("the best mean is elsewhere than the best in %.2f of cases: the test sees no noise", elsewhere)
	}
}

// A step that is told to gain starts below the best: the setting it starts from
// is not among those that cannot be told from it.
func TestBestAgreesWithSteps(t *testing.T) {
	contradicted := shareOf(t, studySize(300), 2, func(w float64) float64 { return saturating(w / 1.5) }, func(g CurveGroup) bool {
		return anyStep(g, func(m Marginal) bool {
			return m.Significant && m.PercentPerWatt > 0 && m.FromW >= g.Best.FromW && m.FromW <= g.Best.ToW
		})
	})
	atMost(t, "a step that gains among the best", 2, contradicted, 0)
}
