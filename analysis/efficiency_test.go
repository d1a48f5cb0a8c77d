package analysis

import (
	"math"
	"testing"
)

func plainEstimates(values []float64, n int, v, nu float64) []estimate {
	e := make([]estimate, len(values))
	for i, value := range values {
		e[i] = estimate{watts: float64(i + 1), x: math.Log(float64(i + 1)), z: math.Log(value), n: n, v: v / float64(n), nu: nu}
	}
	return e
}

// Base R 4.2.2: results per watt of six settings, n = 2, V = 2e-4, nu = 12.
func TestPlateauNumbers(t *testing.T) {
	peak, from, to := plateau(plainEstimates([]float64{3.9, 4.2, 4.31, 4.28, 4.15, 3.8}, 2, 2e-4, 12))
	if peak != 2 || from != 1 || to != 4 {
		t.Errorf("peak %d, plateau %d..%d, want third, second to fifth", peak+1, from+1, to+1)
	}
}

// PlantGrowth (R datasets): comparisons with the best, Hsu 1996 ch. 4, leave trt1
// out and keep ctrl and trt2. s^2 = 0.388595925926, 27 df, n = 10. The published
// intervals use Dunnett's one-sided value 1.99741980541 for correlated
// differences; ours bounds them by independent ones and must lie above it.
func TestAmongBestPlantGrowth(t *testing.T) {
	e := make([]estimate, 3)
	for i, mean := range []float64{5.032, 4.661, 5.526} {
		e[i] = estimate{z: mean, n: 10, v: 0.388595925926 / 10, nu: 27}
	}
	critical := bestCritical(e)
	if !(critical > 1.99741980541 && critical < 2.1) {
		t.Errorf("critical value %v, want a little above Dunnett's 1.9974", critical)
	}
	for i, want := range []bool{true, false, true} {
		if got := amongBest(e, i, critical); got != want {
			t.Errorf("group %d among the best: %v, want %v", i, got, want)
		}
	}
}

func TestPlateauEdges(t *testing.T) {
	if peak, from, to := plateau(plainEstimates([]float64{3}, 1, 1e-4, 5)); peak != 0 || from != 0 || to != 0 {
		t.Errorf("one setting: %d %d %d", peak, from, to)
	}
	// Unknown noise: only the 5 % count.
	if peak, from, to := plateau(plainEstimates([]float64{90, 96, 100, 94}, 1, math.NaN(), 0)); peak != 2 || from != 1 || to != 2 {
		t.Errorf("no noise: %d %d %d, want 2 1 2", peak, from, to)
	}
	// A gap ends the plateau, even if a later setting would belong to it.
	if _, from, to := plateau(plainEstimates([]float64{99, 50, 100, 50, 98}, 2, 1e-6, 20)); from != 2 || to != 2 {
		t.Errorf("plateau %d..%d crosses a gap", from, to)
	}
}
