package judge

import (
	"math"
	"slices"
	"testing"
	"time"
)

// secondsOf is a run of phases: so many seconds at so many watts, some at a processor load.
func secondsOf(phases ...[3]float64) (list []powerSecond) {
	for _, p := range phases {
		for range int(p[0]) {
			list = append(list, powerSecond{watts: p[1], busy: p[2], second: len(list)})
		}
	}
	return list
}

func TestFindTail(t *testing.T) {
	unknown := math.NaN()
	const busy, calm = 0.9, 0.02
	for name, c := range map[string]struct {
		idle   float64
		phases [][3]float64
		from   float64 // 0: there is none
	}{
		"back at idle":                           {2, [][3]float64{{60, 15, busy}, {20, 2.2, calm}}, 60},
		"a late start as well":                   {2, [][3]float64{{10, 2, calm}, {60, 15, busy}, {20, 2.2, calm}}, 70},
		"stopped within seconds":                 {2, [][3]float64{{60, 15, busy}, {5, 2.2, calm}}, 0},
		"just longer":                            {2, [][3]float64{{60, 15, busy}, {6, 2.2, calm}}, 60},
		"a spike in it":                          {2, [][3]float64{{60, 15, busy}, {8, 2, calm}, {1, 5, calm}, {8, 2, calm}}, 60},
		"idle throughout":                        {2, [][3]float64{{60, 2, calm}}, 0},
		"idle throughout, a little more at last": {2, [][3]float64{{40, 2, calm}, {20, 2.3, calm}}, 0},
		"low and constant":                       {6, [][3]float64{{60, 8, busy}}, 0},
		"low, then idle":                         {6, [][3]float64{{60, 8, busy}, {20, 6.1, calm}}, 60},
		"a light end, well above idle":           {2, [][3]float64{{60, 15, busy}, {20, 6, busy}}, 0},
		"low power, but busy":                    {2, [][3]float64{{60, 15, busy}, {20, 2.2, busy}}, 0},
		"ends with a pause like the others":      {2, [][3]float64{{20, 15, busy}, {10, 2, calm}, {20, 15, busy}, {10, 2, calm}, {20, 15, busy}, {10, 2, calm}}, 0},
		"ends with a much longer one":            {2, [][3]float64{{20, 15, busy}, {10, 2, calm}, {20, 15, busy}, {30, 2, calm}}, 50},
		"idle level unknown, far below":          {unknown, [][3]float64{{60, 15, busy}, {20, 2.2, calm}}, 60},
		"idle level unknown, not far below":      {unknown, [][3]float64{{60, 15, busy}, {20, 8, calm}}, 0},
		"idle level unknown, short":              {unknown, [][3]float64{{60, 15, busy}, {9, 2.2, calm}}, 0},
		"idle level unknown, constant":           {unknown, [][3]float64{{60, 8, busy}}, 0},
		"processor load unknown":                 {2, [][3]float64{{60, 15, unknown}, {20, 2.2, unknown}}, 60},
		"no power at all":                        {2, [][3]float64{{60, unknown, busy}, {20, unknown, calm}}, 0},
		"a run of a second":                      {2, [][3]float64{{1, 15, busy}}, 0},
		"nothing":                                {2, nil, 0},
	} {
		list := secondsOf(c.phases...)
		before := slices.Clone(list)
		got, found := findTail(list, func(s powerSecond) float64 { return s.watts }, c.idle, float64(len(list)), 0.3, 5*time.Second)
		if found != (c.from > 0) || found && got.from != time.Duration(c.from)*time.Second {
			t.Errorf("%s: %v, %v; want from %v s", name, got, found, c.from)
		}
		if found && !(got.above > 2 && got.above < 15) {
			t.Errorf("%s: the load goes on above %v W", name, got.above)
		}
		for i := range list {
			if a, b := list[i], before[i]; a.watts != b.watts && !math.IsNaN(a.watts) || a.second != b.second {
				t.Fatalf("%s: the seconds were changed", name)
			}
		}
	}
}
