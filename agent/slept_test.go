package agent

import (
	"testing"
	"time"
)

func TestSleptCountsSuspendsAndNoTicks(t *testing.T) {
	var s slept
	const ms = time.Millisecond
	for i, step := range []struct{ elapsed, difference, awake time.Duration }{
		{0, 5000 * ms, 0}, {250 * ms, 5016 * ms, 250 * ms}, {500 * ms, 4984 * ms, 500 * ms}, // ticks
		{2505 * ms, 7015 * ms, 500 * ms}, // a suspend of 2 s, taken for 15 ms more: time does not go back
		{2750 * ms, 6990 * ms, 735 * ms}, // the 15 ms stay
		{4000 * ms, 8015 * ms, 985 * ms}, // another second
	} {
		if got := s.awake(step.elapsed, step.difference); got != step.awake {
			t.Errorf("step %d: awake for %v, want %v", i, got, step.awake)
		}
	}
}
