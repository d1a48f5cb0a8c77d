package sentence

import (
	"math"
	"strconv"
	"strings"

	"github.com/dustin/go-humanize"

	"sweepd/analysis"
)

// Dash stands for a number that is not known.
const Dash = "–"

// tooLong is the number from which on all are written with an exponent.
const tooLong = 1e12

// Quantity is Fixed for a number above 0, with a power of ten where the decimals
// would show hardly a digit of it.
func Quantity(v float64, decimals int) string {
	if v > 0 && v < math.Pow10(1-decimals) && v < 0.01 {
		return strconv.FormatFloat(v, 'e', 3, 64)
	}
	return Fixed(v, decimals)
}

// Fixed writes v with a number of decimals, Dash where it is not finite. A zero
// has no sign.
func Fixed(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Dash
	}
	if math.Abs(v) >= tooLong {
		return strconv.FormatFloat(v, 'e', 3, 64)
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if z, err := strconv.ParseFloat(s, 64); err == nil && z == 0 && math.Signbit(v) {
		s = s[1:]
	}
	return s
}

// Decimals is how many decimals a number with this uncertainty deserves: so many
// that the uncertainty shows two significant digits, as GUM 7.2.6 recommends, at
// most 6. Without an uncertainty it is what shows three digits of v.
func Decimals(v, uncertainty float64) int {
	if uncertainty > 0 && !math.IsInf(uncertainty, 0) {
		return places(uncertainty, 2)
	}
	if v = math.Abs(v); v > 0 && !math.IsInf(v, 0) {
		return places(v, 3)
	}
	return 0
}

// places is the number of decimals that shows so many digits of v > 0.
func places(v float64, digits int) int {
	exponent := int(math.Floor(math.Log10(v)))
	return min(max(digits-1-exponent, 0), 6)
}

// Significant writes v with at least three digits, and all digits before the
// point.
func Significant(v float64) string { return Fixed(v, Decimals(v, 0)) }

// Percent writes a ratio that a person gave with the digits that were given, at most six.
func Percent(ratio float64) string { return strconv.FormatFloat(100*ratio, 'g', 6, 64) + " %" }

// symbols are the units of sensors as a table shows them.
var symbols = map[string]string{
	"watts": "W", "joules": "J", "celsius": "°C", "volts": "V", "amperes": "A", "hertz": "Hz", "seconds": "s", "bytes": "B", "ratio": "",
}

// WithUnit writes v with the symbol of a sensor's unit.
func WithUnit(v float64, unit string) string {
	symbol, ok := symbols[unit]
	if !ok {
		symbol = unit
	}
	if unit == "bytes" && v >= 0 && v < math.MaxInt64 {
		return humanize.IBytesN(uint64(v), 3) // memory comes in powers of two
	}
	if unit == "joules" || unit == "hertz" || unit == "watts" {
		if a := math.Abs(v); a >= 1e4 && !math.IsInf(v, 0) {
			return humanize.SIWithDigits(v, 2, symbol)
		}
	}
	return strings.TrimSpace(Significant(v) + " " + symbol)
}

// WithUncertainty writes v as its uncertainty supports.
func WithUncertainty(v, uncertainty float64) string { return Fixed(v, Decimals(v, uncertainty)) }

// powers are the digits of exponents.
var powers = strings.NewReplacer("-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹")

// Measured writes a value with its interval and unit, with the digits that the
// interval supports and at most three, but for those before the point, and a power of ten where it is very large or small:
// "98.2 fps (96.6 to 99.9)", "300 (299 to 301) × 10⁻⁹ s".
func Measured(v, lower, upper analysis.Number, unit string) string {
	exponent := 0
	if a := math.Abs(float64(v)); a != 0 && (a < 1e-3 || a >= 1e6) && !math.IsInf(a, 0) {
		exponent = 3 * int(math.Floor(math.Log10(a)/3))
	}
	factor := analysis.Number(math.Pow10(-exponent))
	v, lower, upper = v*factor, lower*factor, upper*factor
	places := min(Decimals(float64(v), HalfWidth(lower, upper)), Decimals(float64(v), 0))
	if exponent == 0 {
		return strings.TrimSpace(Fixed(float64(v), places)+" "+unit) + Interval(lower, upper, places)
	}
	return strings.TrimSpace(Fixed(float64(v), places) + Interval(lower, upper, places) + " × 10" + powers.Replace(strconv.Itoa(exponent)) + " " + unit)
}

// Watts writes watts to the hundredth without needless decimals: "25", "12.5".
func Watts(w float64) string {
	if math.IsNaN(w) {
		return Dash
	}
	return strconv.FormatFloat(math.Round(w*100)/100, 'f', -1, 64)
}

// SignedPercent writes a ratio such as 0.031 as "+3.1".
func SignedPercent(ratio float64, decimals int) string {
	s := Fixed(100*ratio, decimals)
	if ratio > 0 && s[0] != '-' && s != Dash {
		return "+" + s
	}
	return s
}

// ColumnDecimals is how many decimals a column of numbers deserves, the same for
// all so that they stand in line, at most most: as many as show two digits of the
// largest uncertainty and one of the smallest. values and uncertainties may be
// unknown.
func ColumnDecimals(values, uncertainties []float64, most int) int {
	least, greatest := math.Inf(1), 0.0
	finest := 0
	for i, v := range values {
		finest = max(finest, Decimals(v, 0))
		if u := uncertainties[i]; u > 0 && !math.IsInf(u, 0) {
			least, greatest = min(least, u), max(greatest, u)
		}
	}
	if greatest > 0 {
		finest = max(places(greatest, 2), places(least, 1))
	}
	return min(finest, most)
}
