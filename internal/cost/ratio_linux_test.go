//go:build !race

package main

import (
	"testing"
	"time"
)

// The ratios that the benchmark reports, with slack for a busy machine: CPU
// time instead of wall time, and medians of alternating turns. The aims are 1.5
// times the CPU time and no allocation; the bounds leave a third, and a tenth
// for what the runtime and a growing batch allocate.
func TestAgentLoopCostsLittleMoreThanABareLoop(t *testing.T) {
	if testing.Short() || testing.CoverMode() != "" {
		t.Skip("takes 12 s, and counting statements costs more than they do")
	}
	const ratio, allocs, moreWakeups = 2.0, 0.1 * loopSensors, 3.0
	got, err := takeTurns(t.Context(), t.TempDir(), 3, 1200*time.Millisecond, 800*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%.2f times the CPU time of the bare loop", got.ratio())
	if r := got.ratio(); r > ratio {
		t.Errorf("a sweep of the agent costs %.2f times the CPU time of the bare loop's, at most %.1f is wanted", r, ratio)
	}
	if n := medians(got.agent).Allocs; n > allocs {
		t.Errorf("%.2f allocations a sweep of %d sensors: the loop allocates", n, loopSensors)
	}
	if n, bare := medians(got.agent).Wakeups, medians(got.bare).Wakeups; n > bare+moreWakeups {
		t.Errorf("%.2f wakeups a sweep, %.2f in the bare loop", n, bare)
	}
}
