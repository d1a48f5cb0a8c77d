package analysis

import (
	"math"
	"testing"
)

// fixedNoise is a noise that repeats settled: the same for every test.
func fixedNoise(v, nu float64) trendNoise {
	return func([]int) func(j, k int) (float64, float64) {
		return func(int, int) (float64, float64) { return v, nu }
	}
}

func curvePoints(watts, means []float64, n int) []trendPoint {
	points := make([]trendPoint, len(watts))
	for i := range watts {
		points[i] = trendPoint{x: math.Log(watts[i]), z: math.Log(means[i]), n: n}
	}
	return points
}

// Base R 4.2.2, to ten digits.
func TestDeparturesNumbers(t *testing.T) {
	watts := []float64{8, 10, 12, 15, 18, 22, 26, 30, 40, 50}
	means := []float64{40, 48, 54, 61, 66, 66.5, 74, 77, 79, 74}
	found := findDepartures(curvePoints(watts, means, 3), fixedNoise(1e-4, 20))
	if len(found) != 2 {
		t.Fatalf("%d departures, want 2: %+v", len(found), found)
	}
	want := map[float64][2]float64{22: {-0.05340840853, 2.269733208e-06}, 50: {-0.06329113924, 1.607785114e-06}}
	for _, d := range found {
		w, ok := want[watts[d.setting]]
		if !ok {
			t.Errorf("departure at %g W", watts[d.setting])
			continue
		}
		within(t, "change", d.change, w[0], 5e-12)
		within(t, "p adjusted", d.pAdjusted, w[1], 5e-16)
	}
}

func TestDeparturesNone(t *testing.T) {
	watts := []float64{8, 10, 12, 15, 18, 22, 26, 30, 40, 50}
	rising := []float64{40, 48, 54, 60, 65, 70, 74, 77, 80, 81}
	floor := []float64{48, 48, 48, 60, 65, 70, 74, 77, 80, 81} // the corner at 12 W is no dip
	dip := []float64{40, 48, 54, 60, 65, 66, 74, 77, 80, 81}
	for name, c := range map[string]struct {
		means []float64
		noise trendNoise
	}{
		"rising":               {rising, fixedNoise(1e-4, 20)},
		"ignored low settings": {floor, fixedNoise(1e-4, 20)},
		"one df":               {dip, fixedNoise(1e-4, 1)},
		"unknown noise":        {dip, fixedNoise(math.NaN(), 0)},
	} {
		if got := findDepartures(curvePoints(watts, c.means, 3), c.noise); len(got) != 0 {
			t.Errorf("%s: %+v, want none", name, got)
		}
	}
	if got := findDepartures(curvePoints(watts[:3], []float64{50, 40, 30}, 3), fixedNoise(1e-4, 20)); len(got) != 0 {
		t.Errorf("three settings: %+v, want none", got)
	}
}

// At most a quarter of the settings departs, however low they lie.
func TestDeparturesQuarter(t *testing.T) {
	watts := []float64{8, 10, 12, 15, 18, 22, 26, 30}
	falling := []float64{80, 70, 60, 50, 40, 30, 20, 10}
	if got := findDepartures(curvePoints(watts, falling, 3), fixedNoise(1e-4, 20)); len(got) != 2 {
		t.Errorf("%d departures of 8 settings, want 2", len(got))
	}
}

// A test has the least degrees of freedom of the settings it involves. Student's
// t at 2 df: P(T > 5) is 0.0188748 (closed form: (1 - t/sqrt(2 + t^2))/2).
func TestDeparturesLeastDegreesOfFreedom(t *testing.T) {
	points := curvePoints([]float64{8, 10, 12, 15}, []float64{40, 48, 54, 54}, 1)
	points[3].z = points[2].z - 5*math.Sqrt(2e-4)
	for where := range 4 {
		level := func(j, k int) (v, nu float64) {
			if k == where {
				return 1e-4, 2
			}
			return 1e-4, 1e6
		}
		worst, tests := worstSetting(points, allIndices(4), level)
		if worst.index != 3 {
			t.Fatalf("worst setting %d, want the last", worst.index)
		}
		want := math.Erfc(5/math.Sqrt2) / 2
		if where >= 2 { // the drop is from the third to the last setting
			want = (1 - 5/math.Sqrt(27)) / 2
		}
		near(t, "p", worst.p, want, 1e-3)
		if tests < 3 {
			t.Errorf("%d tests", tests)
		}
	}
}
