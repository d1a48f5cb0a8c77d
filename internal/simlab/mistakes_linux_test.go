package simlab

import (
	"math/rand/v2"
	"testing"
)

// A day has one mistake of each kind, each in its own block of runs and at any
// place there: the charger is pulled in the first block, which is on mains, a
// result is forgotten in the second, and a setting is wrong early in the third.
func TestPlannedMistakes(t *testing.T) {
	for _, day := range []Day{
		{Settings: []float64{15}, Plays: make([]Play, 3)}, // the shortest block with mistakes
		{Settings: []float64{9, 15, 22, 30}, Plays: make([]Play, 5)},
	} {
		day.Passes, day.Mistakes = 2, true
		block := len(day.Settings) * len(day.Plays)
		want := map[mistake]struct{ from, to int }{
			unplugged: {0, block},
			noResult:  {block, 2 * block},
			notSet:    {2 * block, 2*block + block/2},
		}
		seen := map[mistake]map[int]bool{unplugged: {}, noResult: {}, notSet: {}}
		for seed := range uint64(1000) {
			planned := day.planMistakes(rand.New(rand.NewPCG(seed, 0)))
			runs := map[mistake]int{}
			for run, wrong := range planned {
				runs[wrong]++
				if w := want[wrong]; run < w.from || run >= w.to {
					t.Fatalf("blocks of %d, seed %d: mistake %d in run %d, want one of %d to %d", block, seed, wrong, run, w.from, w.to-1)
				}
				seen[wrong][run] = true
			}
			for wrong := range want {
				if runs[wrong] != 1 || len(planned) != len(want) {
					t.Fatalf("blocks of %d, seed %d: %v, want each mistake once", block, seed, planned)
				}
			}
		}
		for wrong, w := range want {
			if len(seen[wrong]) != w.to-w.from {
				t.Errorf("blocks of %d: mistake %d fell on %d runs in 1000 days, want each of %d", block, wrong, len(seen[wrong]), w.to-w.from)
			}
		}
	}
}

// A day goes as planned where no mistakes are wanted, or where its blocks are too
// short to hide one.
func TestNoPlannedMistakes(t *testing.T) {
	for _, day := range []Day{
		{Settings: []float64{9, 15, 22, 30}, Plays: make([]Play, 5), Passes: 2},
		{Settings: []float64{9, 15}, Plays: make([]Play, 1), Passes: 2, Mistakes: true},
	} {
		if planned := day.planMistakes(rand.New(rand.NewPCG(1, 0))); len(planned) != 0 {
			t.Errorf("blocks of %d, mistakes wanted %v: %v", len(day.Settings)*len(day.Plays), day.Mistakes, planned)
		}
	}
}
