package analysis

import (
	"fmt"
	"math"
	"testing"
	"time"

	"sweepd/run"
)

// near reports a value that is not within the relative tolerance.
func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.12g, want %.12g (relative tolerance %g)", what, got, want, rel)
	}
}

// sameSettings makes runs of one device: results[j] are the repeats at watts[j].
// They start an hour apart, pass after pass.
func sameSettings(device string, watts []float64, results [][]float64) []run.Run {
	start := time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)
	var runs []run.Run
	for j, w := range watts {
		for k, v := range results[j] {
			runs = append(runs, run.Run{
				ID: fmt.Sprintf("%s-%g-%d", device, w, k), Labels: run.Labels{Device: device, Workload: "tile-sort", Setting: run.Watts(watts[j]).From(run.Declared), Supply: "mains"}, StartedAt: run.Timestamp{Time: start.Add(time.Duration(k*len(watts)+j) * time.Hour)}, DurationS: new(60.0),
				Results: map[string]run.Result{"score": {Value: v}},
			})
		}
	}
	return runs
}

func singles(values ...float64) [][]float64 {
	out := make([][]float64, len(values))
	for i, v := range values {
		out[i] = []float64{v}
	}
	return out
}

// Reference values by base R 4.2.2, to 10 digits.
const tenDigits = 1e-9

func TestNoisePooled(t *testing.T) {
	runs := sameSettings("unit-oak", []float64{10, 15, 20}, [][]float64{{50, 50.4, 49.8}, {60.3, 60}, {70, 71, 70.4, 70.2}})
	samples, _ := buildSamples(runs, nil, resultNamed("score"))
	noise := estimateNoise(samples, noiseOptions{})
	for j, c := range noise.settings {
		if c.source != NoisePooled || c.nu != 6 {
			t.Errorf("cell %d: source %s, nu %g, want pooled, 6", j, c.source, c.nu)
		}
		near(t, "sqrt V", math.Sqrt(c.v), 0.005882961141, tenDigits)
	}
}

func TestNoiseIsolatedCell(t *testing.T) {
	runs := sameSettings("unit-oak", []float64{10, 15, 20, 30},
		[][]float64{{50, 50.2, 49.9}, {60.3, 60, 60.1}, {70, 70.1, 63}, {80, 80.2, 79.9}})
	samples, _ := buildSamples(runs, nil, resultNamed("score"))
	noise := estimateNoise(samples, noiseOptions{})
	for j, c := range noise.settings {
		if c.source != NoisePooledRoughness || c.nu != 7 {
			t.Errorf("cell %d: source %s, nu %g, want pooled+roughness, 7", j, c.source, c.nu)
		}
		want := 0.003512541517
		if j == 2 {
			want = 0.06124618023
		}
		near(t, "sqrt V", math.Sqrt(c.v), want, tenDigits)
	}
	if len(noise.outliers) != 1 || runs[noise.outliers[0].run].Results["score"].Value != 63 {
		t.Errorf("flagged %v, want only the run with 63", noise.outliers)
	}
}

func TestRoughness(t *testing.T) {
	runs := sameSettings("unit-oak", []float64{8, 10, 12, 15, 18, 22, 26, 30}, singles(31, 37.9, 45.2, 52.4, 60.1, 66.2, 71.9, 75.8))
	samples, _ := buildSamples(runs, nil, resultNamed("score"))
	s2, nu := curveRoughness(trendPoints(samples, false), allIndices(8)).estimate()
	near(t, "s_d", math.Sqrt(s2), 0.01415500112, tenDigits)
	near(t, "nu_d", nu, 2.552319384, tenDigits)
}

// Leaving a setting out in place must equal building the sums anew.
func TestRoughnessWithout(t *testing.T) {
	var points []trendPoint
	for i := range 17 {
		x := math.Log(5 + 1.7*float64(i))
		points = append(points, trendPoint{x, math.Sin(3*x) + 0.01*float64(i*i%7), 1 + i%3})
	}
	all := allIndices(len(points))
	sums := curveRoughness(points, all)
	for place := range points {
		rest := append(append([]int{}, all[:place]...), all[place+1:]...)
		wantV, wantNu := curveRoughness(points, rest).estimate()
		v, nu := sums.without(points, all, place).estimate()
		near(t, "variance", v, wantV, 1e-10)
		near(t, "nu", nu, wantNu, 1e-10)
	}
}
