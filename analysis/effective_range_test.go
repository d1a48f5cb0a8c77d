package analysis

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Base R 4.2.2, to ten digits.
func TestEffectiveRangeNumbers(t *testing.T) {
	set := []float64{6, 8, 10, 12, 15, 20, 30, 45, 60}
	power := []float64{10.8, 10.9, 10.85, 11.9, 14.8, 19.7, 29.5, 40.1, 40.3}
	got := effectiveRange(set, power, slices.Repeat([]float64{3}, len(set)))
	within(t, "from", set[got.from], 12, 0)
	within(t, "to", set[got.to], 30, 0)
	within(t, "lo", got.lo, 10.99659861, 5e-9)
	within(t, "hi", got.hi, 40.74332034, 5e-9)
	within(t, "scale", got.scale, 0.986661747, 5e-10)
}

func TestEffectiveRangeFull(t *testing.T) {
	for name, c := range map[string]struct{ set, power []float64 }{
		"no setting":   {nil, nil},
		"two settings": {[]float64{10, 20}, []float64{15, 15}},
		"obedient":     {[]float64{10, 15, 20, 30}, []float64{10.2, 15.3, 20.4, 30.6}},
		// Equal power everywhere: no fit with a floor or cap lies between its settings.
		"deaf": {[]float64{10, 15, 20, 30}, []float64{18, 18, 18, 18}},
	} {
		got := effectiveRange(c.set, c.power, ones(len(c.set)))
		if got.from != 0 || got.to != len(c.set)-1 || !math.IsNaN(got.lo) || !math.IsNaN(got.hi) {
			t.Errorf("%s: %+v, want the full range", name, got)
		}
	}
}

// A sensor that reads a constant share too low must not change the range.
func TestEffectiveRangeIgnoresScale(t *testing.T) {
	set := []float64{6, 8, 10, 12, 15, 20, 25, 30, 45, 60, 85}
	rapid.Check(t, func(t *rapid.T) {
		// Away from the borders of the rules, where rounding decides.
		lo := rapid.SampledFrom([]float64{5, 6.8, 9, 11, 13.2, 17}).Draw(t, "lo")
		hi := rapid.SampledFrom([]float64{27, 37, 52, 71, 90}).Draw(t, "hi")
		scale := rapid.Float64Range(0.1, 10).Draw(t, "scale")
		power, scaled := make([]float64, len(set)), make([]float64, len(set))
		for i, s := range set {
			power[i] = math.Min(math.Max(s, lo), hi)
			scaled[i] = power[i] * scale
		}
		a, b := effectiveRange(set, power, ones(len(set))), effectiveRange(set, scaled, ones(len(set)))
		if a.from != b.from || a.to != b.to {
			t.Fatalf("%d..%d became %d..%d", a.from, a.to, b.from, b.to)
		}
		if math.Abs(b.scale/a.scale/scale-1) > 1e-9 {
			t.Fatalf("scale %g became %g, not times %g", a.scale, b.scale, scale)
		}
	})
}
