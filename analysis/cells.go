package analysis

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"sweepd/run"
)

// Cell holds the runs of one group at one setting, as logarithms.
//
// Differences of logarithms are relative differences, and exp of their mean is
// the geometric mean, the only mean of ratios that does not depend on the base
// [Fleming & Wallace 1986].
type Cell struct {
	SettingW float64   // set watts rounded to 0.01 W; NaN for a named setting
	Name     string    // the setting's name where SettingW is NaN
	X        float64   // ln SettingW; 1, 2, ... where a setting of the group has only a name
	Z        []float64 // ln of the quantity, one value per run, in order of start
	Runs     []int     // indices into the runs the cells were built from, beside Z
}

// N is the number of runs in the cell.
func (c Cell) N() int { return len(c.Z) }

// Mean is the mean of Z; NaN for an empty cell.
func (c Cell) Mean() float64 {
	if len(c.Z) == 0 {
		return math.NaN()
	}
	return stat.Mean(c.Z, nil)
}

// sumOfSquares is the sum of squared deviations of Z from its mean (two-pass).
func (c Cell) sumOfSquares() float64 {
	if len(c.Z) < 2 {
		return 0
	}
	_, variance := stat.PopMeanVariance(c.Z, nil)
	return variance * float64(len(c.Z))
}

// Quantity takes from a run the number to be analysed; ok is false where the
// run does not have it.
type Quantity func(r *run.Run) (value float64, ok bool)

// Metric is the quantity that a workload reported under the given name.
func Metric(name string) Quantity {
	return func(r *run.Run) (float64, bool) {
		result, ok := r.Results[name]
		return result.Value, ok
	}
}

// PackagePower is the mean package power of a run in watts.
func PackagePower(r *run.Run) (float64, bool) { return deref(r.PackageW) }

// SystemPower is the mean power of the whole device in watts.
func SystemPower(r *run.Run) (float64, bool) { return deref(r.SystemW) }

// SettingPower is the active setting in watts.
func SettingPower(r *run.Run) (float64, bool) { return r.Setting.Watts() }

// Per divides one quantity by another: Per(Metric("fps_mean"), SystemPower)
// is frames per second for every watt.
func Per(numerator, denominator Quantity) Quantity {
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

// LeftOut counts the runs that a group could not use, by reason.
type LeftOut struct {
	Missing  int // the quantity is not there
	Unusable int // the quantity is not finite, zero or negative
	Setting  int // the set watts are not finite, zero or negative
}

// Total is the number of runs left out.
func (l LeftOut) Total() int { return l.Missing + l.Unusable + l.Setting }

// BuildCells sorts the runs with the given indices (all runs where indices is
// nil) into cells by setting, ascending. Nothing is dropped because of its
// value alone, except what has no logarithm, which is counted.
//
// Settings are equal if their watts are equal after rounding to 0.01 W. Names
// follow watts, in the order of settingOrder. The result does not depend on the
// order of the runs: inside a cell they stand in order of start, then id.
func BuildCells(runs []run.Run, indices []int, quantity Quantity) ([]Cell, LeftOut) {
	if indices == nil {
		indices = make([]int, len(runs))
		for i := range indices {
			indices[i] = i
		}
	}
	var left LeftOut
	entries := make(map[run.Setting][]entry)
	for _, i := range indices {
		setting, ok := settingOf(&runs[i])
		if !ok {
			left.Setting++
			continue
		}
		value, ok := quantity(&runs[i])
		switch {
		case !ok:
			left.Missing++
		case !usable(value):
			left.Unusable++
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
	cells := make([]Cell, len(settings))
	for j, s := range settings {
		cells[j] = buildCell(runs, s, xs[j], entries[s])
	}
	return cells, left
}

// entry is one run's place in a cell.
type entry struct {
	run int
	z   float64
}

func buildCell(runs []run.Run, s run.Setting, x float64, entries []entry) Cell {
	slices.SortFunc(entries, func(a, b entry) int {
		ra, rb := &runs[a.run], &runs[b.run]
		return cmp.Or(ra.StartedAt.Compare(rb.StartedAt.Time), cmp.Compare(ra.ID, rb.ID), cmp.Compare(a.z, b.z))
	})
	cell := Cell{SettingW: wattsOf(s), Name: s.Name(), X: x, Z: make([]float64, len(entries)), Runs: make([]int, len(entries))}
	for k, e := range entries {
		cell.Z[k], cell.Runs[k] = e.z, e.run
	}
	return cell
}
