package sentence

import (
	"testing"
	"time"

	"sweepd/analysis"
)

func TestAgo(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-time.Second: "just now", 59 * time.Second: "just now", time.Minute: "1 min ago", 89 * time.Minute: "89 min ago",
		2*time.Hour + 59*time.Minute: "2 h ago", 47 * time.Hour: "47 h ago", 49 * time.Hour: "2 days ago", 100 * 24 * time.Hour: "100 days ago",
	} {
		if got := Ago(d); got != want {
			t.Errorf("%v: %s, want %s", d, got, want)
		}
	}
}

func TestAbout(t *testing.T) {
	for s, want := range map[float64]string{0: "about 10 s", 11: "about 20 s", 89: "about 90 s", 90: "about 2 min", 179: "about 3 min", 5399: "about 90 min", 5400: "about 2 h"} {
		if got := About(s); got != want {
			t.Errorf("%v s: %s, want %s", s, got, want)
		}
	}
}

// 0.745 h are 44.7 min, 4.2833 h are 4 h 17 min.
func TestClock(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		h, lower, upper analysis.Number
		want            string
	}{
		{0.8, 0.75, 0.85, "48 min (45 to 51)"},
		{0.745, 0.73, 0.76, "45 min (44 to 46)"},
		{0.745, 0.744, 0.746, "45 min (within a minute)"},
		{1, 0.9, 1.1, "1 h 00 min (54 min to 1 h 06 min)"},
		{4.2833, 4.2333, 4.3166, "4 h 17 min (4 h 14 min to 4 h 19 min)"},
		{1.99999, 1.9, 2.1, "2 h 00 min (1 h 54 min to 2 h 06 min)"},
		{0.992, 0.9, 0.9951, "1 h 00 min (54 min to 1 h 00 min)"},
		{2, 1.9999, 2.0001, "2 h 00 min (within a minute)"},
		{0.005, 0.004, 0.02, "18 s (14 s to 1 min)"},
		{3.5, u, u, "3 h 30 min"},
		{u, u, u, "–"},
	} {
		if got := ClockWithin(c.h, c.lower, c.upper); got != c.want {
			t.Errorf("%v: %q, want %q", c.h, got, c.want)
		}
	}
}
