package analysis

import (
	"math"
	"slices"
	"testing"
)

// The medians of Hyndman & Fan's (1996) example and of its first four values, which are
// R's quantile(x, 0.5, type = 7): 35 and 27.5.
func TestMedian(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   float64
	}{{[]float64{50, 15, 40, 20, 35}, 35}, {[]float64{40, 15, 35, 20}, 27.5}, {[]float64{3}, 3}, {[]float64{math.MaxFloat64, math.MaxFloat64}, math.MaxFloat64}} {
		before := slices.Clone(c.values)
		if got := Median(c.values); got != c.want {
			t.Errorf("%v: %v, want %v", c.values, got, c.want)
		}
		if !slices.Equal(c.values, before) {
			t.Errorf("%v became %v", before, c.values)
		}
	}
	if got := Median(nil); !math.IsNaN(got) {
		t.Errorf("of none: %v", got)
	}
}

func TestMostFrequent(t *testing.T) {
	for _, c := range []struct {
		count map[string]int
		want  string
	}{
		{map[string]int{"score": 2, "fps_mean": 3}, "fps_mean"}, {map[string]int{"score": 3, "fps_mean": 3, "watts": 1}, "fps_mean"},
		{map[string]int{"score": 0}, ""}, {nil, ""},
	} {
		if got := MostFrequent(c.count); got != c.want {
			t.Errorf("%v: %q, want %q", c.count, got, c.want)
		}
	}
}
