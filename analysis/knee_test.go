package analysis

import (
	"math"
	"testing"
)

// Satopaa, Albrecht, Irwin & Raghavan 2011, figure 2: y = -1/(x + 0.1) + 5 on
// ten equal points of [0, 1]. Our knee is the maximum of their difference curve,
// which at sensitivity 1 is the same point. abs 1e-9.
func TestKneeFigure2(t *testing.T) {
	x, y := make([]float64, 10), make([]float64, 10)
	for i := range x {
		x[i] = float64(i) / 9
		y[i] = -1/(x[i]+0.1) + 5
	}
	within(t, "knee", kneeWatts(x, y), 0.2222222222, 1e-9)
	within(t, "y at the knee", y[2], 1.896551724138, 1e-9)
}

// On a fine grid the maximum tends to sqrt(0.11) - 0.1, in closed form.
func TestKneeLimit(t *testing.T) {
	const n = 100001
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i] = float64(i) / (n - 1)
		y[i] = -1/(x[i]+0.1) + 5
	}
	within(t, "knee", kneeWatts(x, y), math.Sqrt(0.11)-0.1, 1e-5)
}

// Base R 4.2.2, by the definitions in the doc comments.
func TestKneeAndEnough(t *testing.T) {
	watts := []float64{6, 10, 15, 20, 30, 45, 60, 85}
	within(t, "knee", kneeWatts(watts, []float64{20, 35, 50, 60, 72, 80, 83, 84}), 30, 0)
	means := []float64{20, 35, 50, 60, 72, 80, 79.5, 84}
	z, n := make([]float64, len(means)), make([]float64, len(means))
	for i, v := range means {
		z[i], n[i] = math.Log(v), 2
	}
	y := isotonic(z, n)
	for i := range y {
		y[i] = math.Exp(y[i])
	}
	within(t, "enough", enoughWatts(watts, y, 0.95), 85, 0)
	within(t, "enough for 90 %", enoughWatts(watts, y, 0.90), 45, 0)
}

func TestKneeUnknown(t *testing.T) {
	for name, c := range map[string]struct{ w, y []float64 }{
		"two settings": {[]float64{10, 20}, []float64{1, 2}},
		"never rises":  {[]float64{10, 20, 30}, []float64{2, 2, 2}},
		"none":         {nil, nil},
	} {
		if got := kneeWatts(c.w, c.y); !math.IsNaN(got) {
			t.Errorf("%s: knee %v, want NaN", name, got)
		}
	}
	if got := enoughWatts(nil, nil, 0.95); !math.IsNaN(got) {
		t.Errorf("enough of nothing: %v, want NaN", got)
	}
	within(t, "first of two tied", kneeWatts([]float64{0, 1, 2, 3, 4}, []float64{0, 2, 3, 4, 4}), 1, 0)
}
