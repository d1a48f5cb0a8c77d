package simdevice

import (
	"math"
	"math/rand/v2"
	"time"
)

// reverter is firmware that puts its own limit back.
type reverter struct {
	every time.Duration // on average; 0: not at random
	next  time.Duration
	rng   *rand.Rand
}

func newReverter(cfg Config) reverter {
	r := reverter{every: cfg.Reverts.Every}
	if r.every > 0 {
		r.rng = newRand(cfg.Seed, streamRevert)
		r.draw(0)
	}
	return r
}

// draw draws when it happens next: the times between are exponentially distributed.
func (r *reverter) draw(now time.Duration) {
	r.next = now - time.Duration(math.Log(1-r.rng.Float64())*float64(r.every))
}

// begin is called where a time step begins.
func (r *reverter) begin(m *model) {
	if r.every > 0 && m.now >= r.next {
		r.now(m)
		r.draw(m.now)
	}
}

// now puts the limit back to what the device started with.
func (*reverter) now(m *model) { m.limit.start(m.cfg.SettingW) }
