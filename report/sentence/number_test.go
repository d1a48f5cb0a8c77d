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
		{SignedPercent(math.Inf(1), 1), Dash},
		{SignedPercent(0, 1), "0.0"},
		{Watts(math.NaN()), Dash},
		{Watts(15.004), "15"},
		{Watts(15.006), "15.01"},
		{Fixed(-1.25e12, 1), "-1.250e+12"}, // digits before the point say nothing
		{Fixed(999999999999, 0), "999999999999"},
		{Fixed(math.Inf(-1), 0), Dash},
		{WithUncertainty(5, math.Inf(1)), "5.00"},               // as without an uncertainty
		{WithUncertainty(0.1234567891, 0.00000012), "0.123457"}, // 6 decimals at the most
		{Quantity(0.0000003, 3), "3.000e-07"},
		{Quantity(0.009, 3), "9.000e-03"}, // three decimals would show one digit of it
		{Quantity(0.012, 3), "0.012"},
		{Quantity(0.02, 1), "0.0"}, // a hundredth and more is no power of ten
		{Quantity(0, 3), "0.000"},
		{Quantity(-0.0000003, 1), "0.0"},
		{Quantity(math.NaN(), 1), Dash},
		{WithUnit(12.345, "watts"), "12.3 W"},
		{WithUnit(12340, "watts"), "12.34 kW"},
		{WithUnit(9999, "joules"), "9999 J"},
		{WithUnit(25000, "joules"), "25 kJ"},
		{WithUnit(-12340, "watts"), "-12.34 kW"}, // a battery's power, say, has a sign
		{WithUnit(-9999, "joules"), "-9999 J"},
		{WithUnit(3400000000, "hertz"), "3.4 GHz"},
		{WithUnit(61.34, "celsius"), "61.3 °C"},
		{WithUnit(17179869184, "bytes"), "16.0 GiB"}, // 16 x 2^30
		{WithUnit(0.5, "ratio"), "0.500"},
		{WithUnit(12345, "seconds"), "12345 s"},
		{WithUnit(7, "fps"), "7.00 fps"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// Two digits of an uncertainty, else three of the number; none where neither is finite.
func TestDecimals(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		v, uncertainty float64
		want           int
	}{
		{24.913, 0.12, 2}, {24.913, 3.4, 1}, {24.913, 10, 0}, {24.913, 9.9, 1}, {24.913, 1e-9, 6},
		{24.913, 0, 1}, {24.913, nan, 1}, {24.913, inf, 1}, {24.913, -1, 1}, {-24.913, nan, 1}, {100, nan, 0}, {0.012345, nan, 4},
		{0, nan, 0}, {inf, nan, 0}, {-inf, inf, 0}, {nan, nan, 0},
	} {
		if got := Decimals(c.v, c.uncertainty); got != c.want {
			t.Errorf("%v with an uncertainty of %v: %d, want %d", c.v, c.uncertainty, got, c.want)
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
