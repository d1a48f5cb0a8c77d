package analysis

import (
	"math"
	"testing"
)

// Base R 4.2.2, 10 digits: z is ln of the means, v = 2e-4 each, nu = 16.
func TestEnoughIntervalNumbers(t *testing.T) {
	watts := []float64{6, 10, 15, 20, 30, 45, 60, 85}
	e := plainEstimates([]float64{20, 35, 50, 60, 72, 80, 83, 84}, 1, 2e-4, 16)
	critical := bestCritical(e)
	near(t, "q1(0.95; 7, 16)", critical, 2.717173224, tenDigits)
	upper, lower := bestBounds(e, critical)
	for j, want := range []float64{-1.380741061, -0.8211252729, -0.4644503289, -0.2821287721, -0.09980721535, 0.0055533003, 0.04236727343, 0.06631965552} {
		within(t, "U", upper[j], want, 1e-9)
	}
	for j, want := range []float64{-1.48942799, -0.9298122018, -0.5731372579, -0.3908157011, -0.2084941443, -0.1031336287, -0.06631965552, -0.04236727343} {
		within(t, "L", lower[j], want, 1e-9)
	}
	low, high, ok := enoughInterval(e, 0.95)
	if !ok || watts[low] != 45 || watts[high] != 85 {
		t.Errorf("%d to %d, %v; want 45 to 85 W", low, high, ok)
	}
}

// PlantGrowth (Dobson 1983, from R's datasets): three groups of ten, s^2 = 0.388595925926,
// 27 degrees of freedom. Hsu's intervals for the difference from the best of the others
// (references, D3; R) with Dunnett's d = 1.99741980541, which allows for the common
// variance and the common mean, are [min(0, D - d s sqrt(2/n)), max(0, D + d s sqrt(2/n))].
// The upper ends are U where they are positive; ours, with q1 in place of d, are a little
// wider, never narrower.
func TestBestBoundsAgainstHsu(t *testing.T) {
	e := make([]estimate, 3)
	for i, mean := range []float64{5.032, 4.661, 5.526} {
		e[i] = estimate{z: mean, n: 10, v: 0.388595925926 / 10, nu: 27}
	}
	upper, _ := bestBounds(e, 1.99741980541)
	for i, want := range []float64{0.062843906, 0, 1.050843906} {
		if got := math.Max(upper[i], 0); math.Abs(got-want) > 1e-6 {
			t.Errorf("group %d: %.9f, want %.9f", i, got, want)
		}
	}
	if own := bestCritical(e); !(own > 1.99741980541 && own < 2.05) {
		t.Errorf("critical value %.6f, want just above Dunnett's", own)
	}
}

// Enough of a curve by hand: the interval belongs to the setting that is enough, lies
// among the settings that count for it, and is unknown where the noise is.
func TestEnoughOfACurve(t *testing.T) {
	watts := []float64{6, 10, 15, 20, 30, 45, 60, 85}
	repeats := [][]float64{{20, 20.2}, {35, 35.2}, {50, 49.6}, {60, 60.3}, {72, 72.5}, {80, 80.4}, {83, 82.8}, {84, 84.3}}
	g := oneCurve(t, sameSettings("unit-oak", watts, repeats), CurveRequest{})
	if g.Enough.AtW != 45 || g.Enough.FromW != 45 || !(g.Enough.ToW >= 45 && g.Enough.ToW <= 85) {
		t.Errorf("%+v, want 45 W from 45 W", g.Enough)
	}
	one := oneCurve(t, sameSettings("unit-oak", watts[:3], [][]float64{{20}, {35}, {50}}), CurveRequest{})
	if one.Enough.AtW != 15 || one.Enough.FromW.Known() || one.Enough.ToW.Known() {
		t.Errorf("without noise: %+v", one.Enough)
	}
	lone := oneCurve(t, sameSettings("unit-oak", watts[:1], repeats[:1]), CurveRequest{})
	if lone.Enough.AtW != 6 || lone.Enough.FromW.Known() || lone.Enough.ToW.Known() {
		t.Errorf("one setting: %+v", lone.Enough)
	}
	// Noise of 10 % hides who is best: no upper end.
	wide := [][]float64{{20, 26}, {35, 30}, {50, 58}, {60, 50}, {72, 85}, {80, 70}, {83, 99}, {84, 74}}
	if g := oneCurve(t, sameSettings("unit-oak", watts, wide), CurveRequest{}); !g.Enough.FromW.Known() || g.Enough.ToW.Known() || g.Enough.AtW < g.Enough.FromW {
		t.Errorf("much noise: %+v", g.Enough)
	}
}
