package analysis

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

func allWithin(t *testing.T, what string, got, want []float64, tolerance float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d values, want %d", what, len(got), len(want))
	}
	for i := range got {
		if !(math.Abs(got[i]-want[i]) <= tolerance) {
			t.Errorf("%s[%d] = %.12g, want %.12g within %g", what, i, got[i], want[i], tolerance)
		}
	}
}

func ones(n int) []float64 { return slices.Repeat([]float64{1}, n) }

// Published values, abs 1e-9.
func TestIsotonicPublished(t *testing.T) {
	third := 22.0 + 2.0/9 // 22.2222222
	for _, c := range []struct {
		source     string
		y, w, want []float64
	}{
		{"Busing 2022, J. Stat. Softw. 102(1)", []float64{8, 4, 8, 2, 2, 0, 8}, ones(7), []float64{4, 4, 4, 4, 4, 4, 8}},
		{"Busing 2022, weighted", []float64{3, 2, 1, 10, 9, 8, 20, 10}, []float64{1, 2, 5, .5, .5, .5, 1, 3},
			[]float64{1.5, 1.5, 1.5, 9, 9, 9, 12.5, 12.5}},
		{"Busing 2022, ten values", []float64{0, 6, 8, 3, 5, 2, 1, 7, 9, 4}, ones(10),
			[]float64{0, 25. / 6, 25. / 6, 25. / 6, 25. / 6, 25. / 6, 25. / 6, 20. / 3, 20. / 3, 20. / 3}},
		{"manual of R's isoreg", []float64{1, 0, 4, 3, 3, 5, 4, 2, 0}, ones(9), []float64{.5, .5, 3, 3, 3, 3, 3, 3, 3}},
		{"pituitary data (Potthoff & Roy 1964; de Leeuw, Hornik & Mair 2009, J. Stat. Softw. 32(5))",
			[]float64{(21 + 23.5 + 23) / 3, (24 + 21 + 25) / 3., (21.5 + 22 + 19) / 3, (23.5 + 25) / 2}, []float64{3, 3, 3, 2},
			[]float64{third, third, third, 24.25}},
		{"base R 4.2.2", []float64{1, 3, 2, 4, 3.5, 5}, []float64{1, 2, 1, 1, 3, 1},
			[]float64{1, 8. / 3, 8. / 3, 3.625, 3.625, 5}},
	} {
		allWithin(t, c.source, isotonic(c.y, c.w), c.want, 1e-9)
	}
	if got := isotonic(nil, nil); len(got) != 0 {
		t.Errorf("isotonic of nothing = %v", got)
	}
}

// What makes it the weighted least squares fit: it rises, each stretch is the
// weighted mean of what it replaces, and no other rising sequence is closer.
func TestIsotonicProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "n")
		y := rapid.SliceOfN(rapid.Float64Range(-100, 100), n, n).Draw(t, "y")
		w := rapid.SliceOfN(rapid.Float64Range(0.1, 10), n, n).Draw(t, "w")
		keptY, keptW := slices.Clone(y), slices.Clone(w)
		got := isotonic(y, w)
		if !slices.Equal(y, keptY) || !slices.Equal(w, keptW) {
			t.Fatal("inputs changed")
		}
		if !slices.IsSorted(got) {
			t.Fatalf("%v does not rise", got)
		}
		again := isotonic(got, w)
		sumY, sumFit, product := 0.0, 0.0, 0.0
		for i := range y {
			if math.Abs(again[i]-got[i]) > 1e-9 {
				t.Fatalf("fitting twice changes %v to %v", got[i], again[i])
			}
			sumY += w[i] * y[i]
			sumFit += w[i] * got[i]
			product += w[i] * (y[i] - got[i]) * got[i]
		}
		if math.Abs(sumY-sumFit) > 1e-7 || math.Abs(product) > 1e-5 {
			t.Fatalf("sum %g against %g, residuals times fit %g", sumY, sumFit, product)
		}
	})
}
