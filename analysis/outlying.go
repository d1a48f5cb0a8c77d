package analysis

import (
	"fmt"
	"math"
	"slices"

	"sweepd/run"
)

// OutlyingRun is a run whose result differs from its repeats by more than the
// group's noise explains (methods: Hampel 1974; Davies & Gather 1993). It stays
// in all numbers; only the user rejects.
type OutlyingRun struct {
	ID     string
	Metric string
	Value  float64
	Usual  float64 // geometric mean of its repeats
	Pair   bool    // it has one repeat, which is named as well: nothing tells which is odd
	// Noise is the relative standard deviation of one run at the group's other
	// settings, their median.
	Noise float64
}

// String says what differs, and by how much.
func (o OutlyingRun) String() string {
	text := fmt.Sprintf("%s is %.4g, %+.1f %% from ", o.Metric, o.Value, 100*(o.Value/o.Usual-1))
	if o.Pair {
		return text + fmt.Sprintf("its only repeat (%.4g), where one run scatters by %.1f %%: the two differ from each other, and their results do not tell which is odd", o.Usual, 100*o.Noise)
	}
	return text + fmt.Sprintf("its repeats (%.4g), where one run scatters by %.1f %%", o.Usual, 100*o.Noise)
}

// Outlying finds the runs that differ from their repeats, for every result of
// every group, in order of group and result. runs is left alone.
func Outlying(runs []run.Run) []OutlyingRun {
	var list []OutlyingRun
	groups := runsByGroup(runs)
	for _, g := range sortedGroups(groups) {
		for _, metric := range metricsIn(runs, groups[g]) {
			list = append(list, outlyingIn(runs, groups[g], metric)...)
		}
	}
	return list
}

func metricsIn(runs []run.Run, indices []int) []string {
	var names []string
	for _, i := range indices {
		for name := range runs[i].Results {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	slices.Sort(names)
	return names
}

func outlyingIn(runs []run.Run, indices []int, metric string) []OutlyingRun {
	samples, _ := buildSamples(runs, indices, resultNamed(metric))
	noise := estimateNoise(samples, noiseOptions{departures: findDepartures, lowerIsBetter: runs[indices[0]].Results[metric].Better == run.Lower})
	var list []OutlyingRun
	for _, f := range noise.outliers {
		usual, n := 0.0, 0
		for k, run := range samples[f.setting].runs {
			if run != f.run {
				usual += samples[f.setting].z[k]
				n++
			}
		}
		list = append(list, OutlyingRun{ID: runs[f.run].ID, Metric: metric, Value: runs[f.run].Results[metric].Value,
			Usual: math.Exp(usual / float64(n)), Pair: n == 1, Noise: typicalNoise(noise)})
	}
	return list
}

// typicalNoise is the median relative standard deviation of one run at the
// settings whose repeats agree.
func typicalNoise(noise noiseEstimate) float64 {
	var sds []float64
	for _, c := range noise.settings {
		if !c.isolated && c.v > 0 {
			sds = append(sds, math.Sqrt(c.v))
		}
	}
	return Median(sds)
}
