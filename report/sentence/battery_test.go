package sentence

import (
	"testing"

	"sweepd/analysis"
)

// Times are in hours and minutes, as fine as their interval supports.
func TestLasting(t *testing.T) {
	for _, c := range []struct {
		h, lower, upper analysis.Number
		want            string
	}{
		{0.8, 0.75, 0.85, "48 min (45 to 51)"},
		{0.745, 0.74, 0.75, "44.7 min (44.4 to 45.0)"},
		{1, 0.9, 1.1, "1 h 0 min (54 min to 1 h 6 min)"},
		{4.2833, 4.2333, 4.3166, "4 h 17 min (4 h 14 min to 4 h 19 min)"},
		{1.99999, 1.9, 2.1, "2 h 0 min (1 h 54 min to 2 h 6 min)"},
		{2, 1.9999, 2.0001, "2 h 0.0 min (2 h 0.0 min to 2 h 0.0 min)"},
		{3.5, analysis.Unknown(), analysis.Unknown(), "3 h 30 min"},
	} {
		if got := lasting(c.h, c.lower, c.upper); got != c.want {
			t.Errorf("%v: %q, want %q", c.h, got, c.want)
		}
	}
}
