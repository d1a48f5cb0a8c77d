package analysis

import (
	"math"
	"slices"
	"testing"
	"time"

	"sweepd/run"
)

// What a run does not say is left out, and so is what is no number.
func TestValuesOfASide(t *testing.T) {
	f := &sideFacts{runs: []*run.Run{{StartCelsius: pointer(40.0)}, {}, {StartCelsius: pointer(math.Inf(1))}, {StartCelsius: pointer(42.0)}}}
	got := f.values(func(r *run.Run) (float64, bool) { return deref(r.StartCelsius) })
	if want := []float64{40, 42}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Nobody can say that two sides ran at different times of day where one does not say
// when it ran.
func TestTimeOfDayOfOneSideAlone(t *testing.T) {
	at := func(hour int) *sideFacts {
		return &sideFacts{runs: []*run.Run{{StartedAt: run.Stamp(time.Date(2026, 5, 4, hour, 0, 0, 0, time.UTC))}}}
	}
	silent := &sideFacts{runs: []*run.Run{{}}}
	if got := differentTimeOfDay(at(8), at(20)); len(got) != 1 {
		t.Errorf("8 and 20 o'clock: %+v", got)
	}
	for _, sides := range [][2]*sideFacts{{at(8), silent}, {silent, at(20)}, {silent, silent}} {
		if got := differentTimeOfDay(sides[0], sides[1]); len(got) != 0 {
			t.Errorf("one side does not say when: %+v", got)
		}
	}
}

// The coefficients of the least squares slope over x = 1, 2, 4: the distances from
// their mean 7/3 over the sum of squares 14/3. On a straight line they give its slope
// wherever it is cut.
func TestSlopeCoefficients(t *testing.T) {
	e := []estimate{{x: 1}, {x: 2}, {x: 4}, {x: 7}}
	contrast := make([]float64, len(e))
	addSlope(contrast, e, 0, 3, 1)
	for j, want := range []float64{-2.0 / 7, -1.0 / 14, 5.0 / 14, 0} {
		if math.Abs(contrast[j]-want) > 1e-15 {
			t.Errorf("coefficient %d is %g, want %g", j, contrast[j], want)
		}
	}
	addSlope(contrast, e, 1, 4, -1)
	bend := 0.0
	for j := range e {
		bend += contrast[j] * (3 + 5*e[j].x)
	}
	if math.Abs(bend) > 1e-12 {
		t.Errorf("a straight line bends by %g", bend)
	}
}

// Findings that both sides have as often tell nothing of their difference.
func TestFindingsThatBothSidesHave(t *testing.T) {
	charging := []run.Finding{{Code: run.Charging}}
	both := &sideFacts{runs: []*run.Run{{Findings: charging}, {Findings: charging}}}
	if got := differentFindings(both, both); len(got) != 0 {
		t.Errorf("the same on both sides: %+v", got)
	}
	if got := differentFindings(both, &sideFacts{runs: []*run.Run{{}, {}}}); len(got) != 1 || got[0].A.Count != 2 || got[0].B.Count != 0 {
		t.Errorf("on one side alone: %+v", got)
	}
}

// Without any sign of a floor or a cap the range is that of the settings, with both
// ends in it.
func TestEndsOfTheRangeAreInside(t *testing.T) {
	g := &curveGroup{watts: true, means: []estimate{{watts: 8}, {watts: 28}}}
	inside := g.addRange()
	for watts, want := range map[float64]bool{7.99: false, 8: true, 15: true, 28: true, 28.01: false} {
		if inside(watts) != want {
			t.Errorf("%g W is inside: %v, want %v", watts, !want, want)
		}
	}
}
