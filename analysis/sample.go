package analysis

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"sweepd/run"
)

// sample holds the runs of one cell, that is of one group at one setting, as
// logarithms.
//
// Differences of logarithms are relative differences, and exp of their mean is
// the geometric mean, the only mean of ratios that does not depend on the base
// [Fleming & Wallace 1986].
type sample struct {
	watts float64   // set watts rounded to 0.01 W; NaN for a named setting
	name  string    // the setting's name where watts is NaN
	x     float64   // ln watts; 1, 2, ... where a setting of the group has only a name
	z     []float64 // ln of the quantity, one value per run, in order of start
	runs  []int     // indices into the runs the samples were built from, beside z
}

// n is the number of runs in the cell.
func (s sample) n() int { return len(s.z) }

// mean is the mean of z; NaN for an empty sample.
func (s sample) mean() float64 {
	if len(s.z) == 0 {
		return math.NaN()
	}
	return stat.Mean(s.z, nil)
}

// sumOfSquares is the sum of squared deviations of z from its mean (two-pass).
func (s sample) sumOfSquares() float64 {
	if len(s.z) < 2 {
		return 0
	}
	_, variance := stat.PopMeanVariance(s.z, nil)
	return variance * float64(len(s.z))
}

// quantity takes from a run the number to be analysed; ok is false where the
// run does not have it.
type quantity func(r *run.Run) (value float64, ok bool)

// resultNamed is the quantity that a workload reported under the given name.
func resultNamed(name string) quantity {
	return func(r *run.Run) (float64, bool) {
		result, ok := r.Results[name]
		return result.Value, ok
	}
}

// packagePower is the mean package power of a run in watts.
func packagePower(r *run.Run) (float64, bool) { return deref(r.PackageW) }

// systemPower is the mean power of the whole device in watts.
func systemPower(r *run.Run) (float64, bool) { return deref(r.SystemW) }

// settingPower is the active setting in watts.
func settingPower(r *run.Run) (float64, bool) { return r.Setting.Watts() }

// quotient divides one quantity by another: quotient(resultNamed("fps_mean"), systemPower)
// is frames per second for every watt.
func quotient(numerator, denominator quantity) quantity {
	return func(r *run.Run) (float64, bool) {
		a, okA := numerator(r)
		b, okB := denominator(r)
		if !okA || !okB || !usable(a) || !usable(b) {
			return math.NaN(), okA && okB
		}
		return a / b, true
	}
}

func deref(p *float64) (float64, bool) {
	if p == nil {
		return 0, false
	}
	return *p, true
}

// usable tells whether a value has a place on a ratio scale.
func usable(v float64) bool { return v > 0 && !math.IsInf(v, 1) }

// leftOut counts the runs that a group could not use, by reason.
type leftOut struct {
	missing  int // the quantity is not there
	weak     int // of missing: run.NoSystemPower says why there are no system watts
	unusable int // the quantity is not finite, zero or negative
	setting  int // the set watts are not finite, zero or negative
}

// buildSamples sorts the runs with the given indices (all runs where indices is
// nil) into samples by setting, ascending. Nothing is dropped because of its
// value alone, except what has no logarithm, which is counted.
//
// Settings are equal if their watts are equal after rounding to 0.01 W. Names
// follow watts, in the order of run.Setting.Compare. The result does not depend on the
// order of the runs: inside a cell they stand in order of start, then id.
func buildSamples(runs []run.Run, indices []int, quantity quantity) ([]sample, leftOut) {
	if indices == nil {
		indices = make([]int, len(runs))
		for i := range indices {
			indices[i] = i
		}
	}
	var left leftOut
	entries := make(map[run.Setting][]entry)
	for _, i := range indices {
		setting, ok := settingOf(&runs[i])
		if !ok {
			left.setting++
			continue
		}
		value, ok := quantity(&runs[i])
		switch {
		case !ok:
			left.missing++
			if runs[i].NoSystemPower() != "" {
				left.weak++
			}
		case !usable(value):
			left.unusable++
		default:
			entries[setting] = append(entries[setting], entry{i, math.Log(value)})
		}
	}
	settings := make([]run.Setting, 0, len(entries))
	for s := range entries {
		settings = append(settings, s)
	}
	slices.SortFunc(settings, run.Setting.Compare)
	xs := positions(settings)
	samples := make([]sample, len(settings))
	for j, s := range settings {
		samples[j] = buildSample(runs, s, xs[j], entries[s])
	}
	return samples, left
}

// entry is one run's place in a cell.
type entry struct {
	run int
	z   float64
}

// usedRuns are the indices of the runs in samples.
func usedRuns(samples []sample) []int {
	var all []int
	for _, s := range samples {
		all = append(all, s.runs...)
	}
	return all
}

// countRuns counts the runs with the given indices for which something holds.
func countRuns(runs []run.Run, indices []int, holds func(*run.Run) bool) (n int) {
	for _, i := range indices {
		if holds(&runs[i]) {
			n++
		}
	}
	return n
}

func buildSample(runs []run.Run, s run.Setting, x float64, entries []entry) sample {
	slices.SortFunc(entries, func(a, b entry) int {
		ra, rb := &runs[a.run], &runs[b.run]
		return cmp.Or(ra.StartedAt.Compare(rb.StartedAt.Time), cmp.Compare(ra.ID, rb.ID), cmp.Compare(a.z, b.z))
	})
	sample := sample{watts: wattsOf(s), name: s.Name(), x: x, z: make([]float64, len(entries)), runs: make([]int, len(entries))}
	for k, e := range entries {
		sample.z[k], sample.runs[k] = e.z, e.run
	}
	return sample
}
