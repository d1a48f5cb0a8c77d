package agent

import (
	"math"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

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

// steadyMeans gives each gauge its mean from cut on.
func steadyMeans(trace run.Trace, sensors []run.Sensor, cut, bridge time.Duration) ([]integrator, error) {
	sums := newIntegrators(sensors, bridge)
	began := false
	var first time.Duration
	err := trace.Each(func(s run.Sweep) error {
		if !began {
			began, first = true, s.At.Mono
		}
		if t := s.At.Mono - first; t >= cut {
			for i := range sums {
				sums[i].observe(t, at(s.Values, i))
			}
		}
		return nil
	})
	return sums, err
}
