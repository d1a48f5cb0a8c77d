package simdevice

import "math"

// Frame times vary around the mean of their second: lognormal with memory from
// frame to frame, and now and then a stutter. The shape is invented.
const (
	frameSpread   = 0.10  // sd of the logarithm
	frameMemory   = 0.6   // correlation of neighbours
	stutterChance = 0.003 // of a frame
	stutterLeast  = 2.5   // times the usual frame time
	stutterMost   = 6
)

// FrameTimes returns the frame times of the run, ms, in order: as many as its
// mean rate over its duration gives, and together exactly as long as the run.
// Repeated calls return the same. It is nil for a workload that reports a time
// and for a run without a frame.
func (p Played) FrameTimes() []float64 {
	n := int(math.Round(p.MeanRate * p.Duration.Seconds()))
	if p.LowerIsBetter || n <= 0 || len(p.rates) == 0 {
		return nil
	}
	rng := newRand(p.seed, streamFrames)
	frames := make([]float64, n)
	var noise wander
	memory := -math.Log(frameMemory)
	sum, second, left := 0.0, 0, 1.0
	for i := range frames {
		mean := 1.0
		if r := p.rates[second]; r > 0 {
			mean = 1 / r
		}
		f := mean * math.Exp(frameSpread*noise.step(rng, memory)-frameSpread*frameSpread/2)
		if rng.Float64() < stutterChance {
			f *= stutterLeast + (stutterMost-stutterLeast)*rng.Float64()
		}
		frames[i] = f
		sum += f
		if left -= f; left <= 0 && second < len(p.rates)-1 {
			second++
			left += 1
		}
	}
	scale := p.Duration.Seconds() * 1000 / sum
	for i := range frames {
		frames[i] *= scale
	}
	return frames
}
