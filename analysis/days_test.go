package analysis

import (
	"math"
	"testing"
	"time"

	"sweepd/run"
)

// onDays makes a run of each value: cells[j][d] are those of cell j on day d.
func onDays(cells [][][]float64) (runs []run.Run, samples []sample) {
	samples = make([]sample, len(cells))
	for j, days := range cells {
		for d, values := range days {
			for k, v := range values {
				samples[j].z = append(samples[j].z, v)
				samples[j].runs = append(samples[j].runs, len(runs))
				at := studyStart.Add(time.Duration(d)*24*time.Hour + time.Duration(k*len(cells)+j)*10*time.Minute)
				runs = append(runs, run.Run{StartedAt: run.Timestamp{Time: at}})
			}
		}
	}
	return runs, samples
}

// NIST StRD SiRstv, one-way analysis of variance of five instruments with five repeats
// each: F(4, 20) = 1.18046237440255. With the instruments as days of one cell the test is
// that one, and instruments that come in another order change nothing. rel 1e-9.
func TestDaysSiRstv(t *testing.T) {
	instruments := [][]float64{
		{196.3052, 196.1240, 196.1890, 196.2569, 196.3403}, {196.3042, 196.3825, 196.1669, 196.3257, 196.0422}, {196.1303, 196.2005, 196.2889, 196.0343, 196.1811},
		{196.2795, 196.1748, 196.1494, 196.1485, 195.9885}, {196.2119, 196.1051, 196.1850, 196.0052, 196.2090},
	}
	runs, samples := onDays([][][]float64{instruments})
	shift, ok := shiftBetweenDays(runs, samples)
	if !ok || shift.days != 5 {
		t.Fatalf("%+v, %v", shift, ok)
	}
	near(t, "F", shift.f, 1.18046237440255, 1e-9)
	instruments[0], instruments[3] = instruments[3], instruments[0]
	runs, samples = onDays([][][]float64{instruments})
	again, _ := shiftBetweenDays(runs, samples)
	near(t, "F, in another order", again.f, shift.f, 1e-9)
	near(t, "from lowest to highest", again.between, shift.between, 1e-9)
}

// Cells of unequal size: a day's effect is what its runs differ by within cells, not by
// which cells it had. z = cell + day exactly, so the effects are known.
func TestDaysOfUnequalCells(t *testing.T) {
	cell, day := []float64{3, 5, 8}, []float64{0, 0.02, -0.05}
	counts := [][]int{{1, 2, 0}, {0, 1, 3}, {2, 1, 1}}
	cells := make([][][]float64, len(cell))
	for j := range cell {
		cells[j] = make([][]float64, len(day))
		for d := range day {
			for range counts[j][d] {
				cells[j][d] = append(cells[j][d], cell[j]+day[d])
			}
		}
	}
	runs, samples := onDays(cells)
	shift, ok := shiftBetweenDays(runs, samples)
	if !ok || shift.days != 3 || !(shift.p < 1e-6) {
		t.Fatalf("%+v, %v", shift, ok)
	}
	near(t, "from lowest to highest", shift.between, 0.07, 1e-9)
	if n := movesBetweenDays("unit-oak", runs, samples); len(n) != 1 || n[0].Code != NoteDaysDiffer || n[0].Count != 3 || math.Abs(float64(n[0].Ratio)-math.Expm1(0.07)) > 1e-9 {
		t.Errorf("%+v", n)
	}
}

// One day, days without a common cell, and runs without a start tell nothing.
func TestDaysThatCannotBeCompared(t *testing.T) {
	for name, cells := range map[string][][][]float64{
		"one day":          {{{1, 2}}, {{3, 4, 5}}},
		"no common cell":   {{{1, 2, 1}, nil}, {nil, {3, 4, 3}}},
		"nothing repeated": {{{1}, {2}}},
	} {
		runs, samples := onDays(cells)
		if shift, ok := shiftBetweenDays(runs, samples); ok {
			t.Errorf("%s: %+v", name, shift)
		}
	}
	runs, samples := onDays([][][]float64{{{1, 2}, {3, 4}}, {{1, 2}, {3, 4}}})
	runs[2].StartedAt = run.Timestamp{}
	if _, ok := shiftBetweenDays(runs, samples); ok {
		t.Error("a run without a start has no day")
	}
}
