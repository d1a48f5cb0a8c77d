package sentence

import (
	"math"
	"testing"
)

func TestNumbers(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Significant(1234.56), "1235"},
		{Significant(61.34), "61.3"},
		{Significant(0.012345), "0.0123"},
		{Significant(0), "0"},
		{Significant(math.NaN()), Dash},
		{Significant(math.Inf(1)), Dash},
		{WithUncertainty(24.913, 0.12), "24.91"},
		{WithUncertainty(24.913, 3.4), "24.9"},
		{WithUncertainty(24913, 340), "24913"},
		{Watts(25), "25"},
		{Watts(12.50), "12.5"},
		{Fixed(-0.001, 1), "0.0"},
		{SignedPercent(0.0312, 1), "+3.1"},
		{SignedPercent(-0.0312, 1), "-3.1"},
		{SignedPercent(math.NaN(), 1), Dash},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestColumnDecimals(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		values, uncertainties []float64
		most, want            int
	}{
		{[]float64{41.79, 95.03}, []float64{0.61, 1.3}, 3, 1}, // two digits of 1.3, one of 0.61
		{[]float64{18.25, 62.88}, []float64{0.098, 0.29}, 3, 2},
		{[]float64{41.79, 95.03}, []float64{nan, nan}, 3, 1}, // three digits of 41.8
		{[]float64{0.0012}, []float64{0.00001}, 3, 3},
		{nil, nil, 3, 0},
	} {
		if got := ColumnDecimals(c.values, c.uncertainties, c.most); got != c.want {
			t.Errorf("columnDecimals(%v, %v, %d) = %d, want %d", c.values, c.uncertainties, c.most, got, c.want)
		}
	}
}
