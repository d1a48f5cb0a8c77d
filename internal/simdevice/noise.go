package simdevice

import (
	"math"
	"math/rand/v2"
)

// wander is noise with a memory: an Ornstein-Uhlenbeck process of mean 0 and
// variance 1, advanced exactly: x(t+h) = x(t) e^(-h/T) + sqrt(1-e^(-2h/T)) N(0,1)
// (Gillespie 1996, Phys. Rev. E 54:2084, which nobody looked up; the formula
// follows from the process's covariance e^(-h/T)).
type wander struct{ x float64 }

// step advances by h/T = ratio and returns the new value.
func (w *wander) step(rng *rand.Rand, ratio float64) float64 {
	a := math.Exp(-ratio)
	w.x = a*w.x + math.Sqrt(1-a*a)*rng.NormFloat64()
	return w.x
}

// newRand returns one stream of a seed; streams are independent of each other,
// so drawing more from one does not change another.
func newRand(seed, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, stream))
}

// The streams.
const (
	streamLoad = iota + 1
	streamRipple
	streamResult
	streamFrames
	streamGauge // and following, one for each battery

	streamThermometers = 1 << 32
	streamRevert       = 1 << 33
)
