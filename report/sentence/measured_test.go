package sentence

import (
	"testing"

	"sweepd/analysis"
)

func TestMeasured(t *testing.T) {
	unknown := analysis.Unknown()
	for _, c := range []struct {
		v, lower, upper analysis.Number
		unit, want      string
	}{
		{98.24, 96.6, 99.9, "fps", "98.2 fps (96.6 to 99.9)"},
		{3.001e-7, 2.99e-7, 3.01e-7, "s", "300 (299 to 301) × 10⁻⁹ s"},
		{96049883704, 94866523191, 97248005399, "", "96.0 (94.9 to 97.2) × 10⁹"},
		{5e-4, unknown, unknown, "s", "500 × 10⁻⁶ s"},
		{0, unknown, unknown, "s", "0 s"},
		{22.904, 22.59, 23.21, "s", "22.9 s (22.6 to 23.2)"}, // three digits
		{12345, 12340, 12350, "points", "12345 points (12340 to 12350)"},
	} {
		if got := Measured(c.v, c.lower, c.upper, c.unit); got != c.want {
			t.Errorf("%v: %q, want %q", c.v, got, c.want)
		}
	}
}
