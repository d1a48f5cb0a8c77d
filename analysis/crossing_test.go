package analysis

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The interval of a crossing against its definition, tried at many places: all x
// at which d(x) = 0 is not rejected.
func TestCrossingByTrying(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		joint := rapid.Bool().Draw(t, "joint")
		n := rapid.IntRange(2, 5).Draw(t, "settings")
		values := []float64{-0.03, -0.01, 0, 0.004, 0.02}
		var bracket []*contrast
		for i := range n {
			d := rapid.SampledFrom(values).Draw(t, "d")
			switch i {
			case 0:
				d = 0.05
			case n - 1:
				d = -0.04
			}
			se := rapid.SampledFrom([]float64{0.002, 0.005, 0.012}).Draw(t, "se")
			bracket = append(bracket, &contrast{x: float64(i) * 0.3, d: d, se: se, nu: 12})
		}
		c := crossing(bracket, 0.95, joint)
		low, high := tryPlaces(bracket, studentQuantile(0.975, 12), joint)
		const step = 0.3 / 3000
		if x := math.Log(float64(c.LowerW)); math.Abs(x-low) > 2*step {
			t.Fatalf("lower %g, by trying %g", x, low)
		}
		if x := math.Log(float64(c.UpperW)); math.Abs(x-high) > 2*step {
			t.Fatalf("upper %g, by trying %g", x, high)
		}
		if !(c.LowerW <= c.AtW && c.AtW <= c.UpperW) {
			t.Fatalf("%+v", c)
		}
	})
}

func tryPlaces(bracket []*contrast, t float64, joint bool) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for j := range len(bracket) - 1 {
		from, to := bracket[j], bracket[j+1]
		for i := 0; i <= 3000; i++ {
			w := float64(i) / 3000
			d := (1-w)*from.d + w*to.d
			v := (1-w)*(1-w)*from.se*from.se + w*w*to.se*to.se
			if joint {
				v = math.Pow((1-w)*from.se+w*to.se, 2)
			}
			if x := from.x + w*(to.x-from.x); d*d <= t*t*v*(1+1e-12) {
				low, high = math.Min(low, x), math.Max(high, x)
			}
		}
	}
	return low, high
}

// Without scatter the interval is the place itself, however the numbers are rounded.
func TestCrossingWithoutScatter(t *testing.T) {
	for _, se := range []float64{0, 1e-18, 1e-12} {
		for i := 1; i <= 1000; i++ {
			d := 0.7 / float64(i)
			c := crossing([]*contrast{{x: 2, d: d, se: se, nu: 9}, {x: 2.1, d: -0.3 - d/3, se: se, nu: 9}}, 0.95, false)
			at := 2 + 0.1*d/(d+0.3+d/3) // of the straight line
			if !(c.LowerW <= c.AtW && c.AtW <= c.UpperW) || math.Abs(math.Log(float64(c.LowerW))-at) > 1e-9 || math.Abs(math.Log(float64(c.UpperW))-at) > 1e-9 {
				t.Fatalf("d = %g, se = %g: %+v, want %g", d, se, c, math.Exp(at))
			}
		}
	}
	if c := crossing([]*contrast{{x: 2, d: 1, se: math.NaN(), nu: 9}, {x: 2.1, d: -1, se: 0.1, nu: 9}}, 0.95, false); c.LowerW.Known() || c.UpperW.Known() {
		t.Errorf("errors that nobody knows: %+v", c)
	}
	between := []*contrast{{x: 2.08, d: 0.03, se: 0.002, nu: 4}, {x: 2.2, d: 713, se: math.Inf(1), nu: math.NaN()}, {x: 2.3, d: -0.02, se: 0.003, nu: 4}}
	if c := crossing(between, 0.95, false); math.Abs(math.Log(float64(c.LowerW))-2.08) > 1e-12 || math.Abs(math.Log(float64(c.UpperW))-2.3) > 1e-12 {
		t.Errorf("a setting that tells nothing between two: %+v, want both of them", c)
	}
}

// Of several zeros in one bracket the middle one is reported.
func TestCrossingMiddleZero(t *testing.T) {
	var bracket []*contrast
	for i, d := range []float64{0.05, -0.01, 0.01, -0.05} {
		bracket = append(bracket, &contrast{x: float64(i), d: d, se: 0.01, nu: 20})
	}
	if at := math.Log(float64(crossing(bracket, 0.95, false).AtW)); math.Abs(at-1.5) > 1e-12 {
		t.Errorf("crossing at %g, want the second of three zeros, 1.5", at)
	}
	bracket = append(bracket[:1], &contrast{x: 1, d: 0, se: 0.01, nu: 20}, bracket[3])
	if at := math.Log(float64(crossing(bracket, 0.95, false).AtW)); at != 1 {
		t.Errorf("crossing at %g, want the setting where the difference is 0", at)
	}
}

func TestQuadraticRoots(t *testing.T) {
	for _, c := range []struct {
		a, b, c float64
		want    []float64
	}{
		{0, 0, 1, nil}, {0, 2, -1, []float64{0.5}}, {1, 0, 1, nil}, {1, 0, 0, []float64{0}},
		{1, -1e8, 1, []float64{1e8, 1e-8}}, {2, -3, 1, []float64{1, 0.5}},
	} {
		got := quadraticRoots(c.a, c.b, c.c)
		if len(got) != len(c.want) {
			t.Errorf("%v: %v, want %v", c, got, c.want)
			continue
		}
		for i, w := range c.want {
			if math.Abs(got[i]-w) > 1e-12*math.Abs(w) {
				t.Errorf("%v: %v, want %v", c, got, c.want)
			}
		}
	}
}
