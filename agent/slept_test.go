package agent

import (
	"testing"
	"time"
)

func TestSleptCountsSuspendsAndNoTicks(t *testing.T) {
	var s slept
	const ms = time.Millisecond
	for i, step := range []struct{ difference, want time.Duration }{
		{5000 * ms, 0}, {5016 * ms, 0}, {4984 * ms, 0}, // ticks
		{7000 * ms, 2000 * ms}, {7016 * ms, 2000 * ms}, {6990 * ms, 2000 * ms}, // a suspend of 2 s
		{8000 * ms, 3000 * ms}, // another one
	} {
		if got := s.observe(step.difference); got != step.want {
			t.Errorf("step %d: slept %v, want %v", i, got, step.want)
		}
	}
}
