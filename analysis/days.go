package analysis

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"sweepd/run"
)

// nightPause separates test days: runs whose starts lie further apart than this belong to
// two of them, wherever midnight is (common practice, no source).
const nightPause = 6 * time.Hour

// dayShift is how results shift from test day to test day.
type dayShift struct {
	days    int
	f       float64 // statistic of the days' effects
	p       float64 // chance of a larger one where nothing shifts
	between float64 // from the lowest to the highest day, in units of z
}

// shiftBetweenDays fits z = cell + day by least squares, and tests the days' effects
// against the residual variance, at least that of 0.1 % (two-way analysis of variance
// without interaction, cells of any size). It is not ok with one day only, with days that
// have no cell in common, or with fewer than two degrees of freedom left.
func shiftBetweenDays(runs []run.Run, samples []sample) (shift dayShift, ok bool) {
	day, days := testDays(runs, samples)
	if days < 2 {
		return dayShift{}, false
	}
	// The normal equations of the days but the first, with the cells taken out of them.
	normal, right := mat.NewSymDense(days-1, nil), mat.NewVecDense(days-1, nil)
	left, df := 0.0, -(days - 1)
	for _, s := range samples {
		count := make([]float64, days)
		for _, i := range s.runs {
			count[day[i]]++
		}
		n, mean := float64(s.n()), s.mean()
		for k, i := range s.runs {
			if d := day[i] - 1; d >= 0 {
				right.SetVec(d, right.AtVec(d)+s.z[k]-mean)
			}
		}
		for a := 1; a < days; a++ {
			for b := a; b < days; b++ {
				v := -count[a] * count[b] / n
				if a == b {
					v += count[a]
				}
				normal.SetSym(a-1, b-1, normal.At(a-1, b-1)+v)
			}
		}
		left += s.sumOfSquares()
		df += s.n() - 1
	}
	var factor mat.Cholesky
	if df < 2 || !factor.Factorize(normal) || factor.Cond() > 1e9 {
		return dayShift{}, false
	}
	effects := mat.NewVecDense(days-1, nil)
	if err := factor.SolveVecTo(effects, right); err != nil {
		return dayShift{}, false
	}
	explained := mat.Dot(effects, right)
	rest := math.Max(math.Max(left-explained, 0)/float64(df), varianceFloor)
	shift.days = days
	shift.f = explained / float64(days-1) / rest
	shift.p = fUpper(explained/float64(days-1), rest, float64(days-1), float64(df))
	all := append(slices.Clone(effects.RawVector().Data), 0) // the first day's
	shift.between = slices.Max(all) - slices.Min(all)
	return shift, true
}

// testDays numbers the test days of the runs in the cells, by their indices; days is 0
// where a start is unknown.
func testDays(runs []run.Run, samples []sample) (day map[int]int, days int) {
	var order []int
	for _, s := range samples {
		order = append(order, s.runs...)
	}
	for _, i := range order {
		if runs[i].StartedAt.IsZero() {
			return nil, 0
		}
	}
	slices.SortFunc(order, func(a, b int) int { return runs[a].StartedAt.Time.Compare(runs[b].StartedAt.Time) })
	day = map[int]int{}
	for k, i := range order {
		if k > 0 && runs[i].StartedAt.Time.Sub(runs[order[k-1]].StartedAt.Time) > nightPause {
			days++
		}
		day[i] = days
	}
	return day, days + 1
}

// movesBetweenDays says so where results shift from test day to test day.
func movesBetweenDays(side string, runs []run.Run, samples []sample) []Note {
	shift, ok := shiftBetweenDays(runs, samples)
	if !ok || !(shift.p < confounderLevel) {
		return nil
	}
	return []Note{{Code: NoteDaysDiffer, Side: side, Ratio: relative(shift.between), Count: shift.days}}
}
