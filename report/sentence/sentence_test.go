package sentence

import (
	"math"
	"testing"

	"sweepd/analysis"
)

func TestWords(t *testing.T) {
	u := analysis.Unknown()
	eleven := []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11"}
	for _, c := range []struct{ got, want string }{
		{Setting(25, "fast"), "25 W"},
		{Setting(12.5, ""), "12.5 W"},
		{Setting(u, "fast"), "fast"},
		{Range("5 W", "5 W"), "at 5 W"},
		{Range("5 W", "8 W"), "from 5 W to 8 W"},
		{Interval(2.2, 4, 1), " (2.2 to 4.0)"},
		{Interval(u, 4, 1) + Interval(2.2, u, 1), ""},
		{Group("tile-sort", "unit-oak", "", "cores=6"), "tile-sort, unit-oak, cores=6"},
		{Group("tile-sort"), "tile-sort"},
		{Listed(nil, 2), "nothing"},
		{Listed([]string{"5 W"}, 2), "5 W"},
		{Listed([]string{"5 W", "8 W"}, 2), "5 W and 8 W"},
		{Listed([]string{"5 W", "8 W", "10 W"}, 3), "5 W, 8 W and 10 W"},
		{Listed([]string{"5 W", "8 W", "10 W"}, 2), "5 W, 8 W and 1 more"},
		{listed(eleven[:10]), "1, 2, 3, 4, 5, 6, 7, 8, 9 and 10"},
		{listed(eleven), "1, 2, 3, 4, 5, 6, 7, 8, 9, 10 and 1 more"},
		{Counted(0, "run"), "0 runs"},
		{Counted(1, "run"), "1 run"},
		{Counted(2, "run"), "2 runs"},
		{Capital("at 5 W"), "At 5 W"},
		{Capital("a"), "A"},
		{Capital(""), ""},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	if got := HalfWidth(1, 4); got != 1.5 {
		t.Errorf("half of 1 to 4: %v", got)
	}
	if got := HalfWidth(u, 4); !math.IsNaN(got) {
		t.Errorf("half of an open interval: %v", got)
	}
}
