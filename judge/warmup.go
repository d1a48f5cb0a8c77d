package judge

import (
	"math"
	"time"

	"sweepd/analysis"
)

// warmUpStep is what cuts are multiples of: WarmUpMSER5 cuts whole batches of five.
const warmUpStep = 5 * time.Second

// warmUp finds how long a run took to become steady, from its package power, or
// from its discharge where there is no package power: MSER-5 on means of whole
// seconds (White 1997, Simulation 69:323-334; see analysis.WarmUpMSER5). 0 means
// that nothing is to be cut.
func warmUp(seconds []powerSecond) time.Duration {
	series := func(f func(powerSecond) float64) []float64 {
		list := make([]float64, len(seconds))
		for i, s := range seconds {
			list[i] = f(s)
		}
		return list
	}
	values := series(func(s powerSecond) float64 { return s.watts })
	if allMissing(values) {
		values = series(func(s powerSecond) float64 { return s.out })
	}
	w := analysis.WarmUpMSER5(values)
	if !w.Reached {
		return 0
	}
	return time.Duration(w.Cut) * time.Second
}

func allMissing(list []float64) bool {
	for _, x := range list {
		if !math.IsNaN(x) {
			return false
		}
	}
	return true
}
