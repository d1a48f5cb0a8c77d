package analysis

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
)

// movesBetweenPasses tests whether a side's results shift from pass to pass:
// with blocks b of K passes over m cells, F = [m sum b^2/(K-1)] / s^2, s^2 being
// the residual variance of z = cell + block, at least that of 0.1 %. Bounds between
// two devices do not include such a shift.
func movesBetweenPasses(f *sideFacts) []Note {
	k := passes(f.side.runs, f.samples)
	if k == 0 {
		return nil
	}
	blocks := fitBlocks(f.samples, k)
	ss, n := 0.0, 0
	for _, s := range withoutBlocks(f.samples, blocks) {
		ss += s.sumOfSquares()
		n += s.n()
	}
	df := float64(n - len(f.samples) - (k - 1))
	if df < 1 {
		return nil
	}
	sum := 0.0
	for _, b := range blocks {
		sum += b * b
	}
	moved := float64(len(f.samples)) * sum / float64(k-1)
	if p := fUpper(moved, math.Max(ss/df, varianceFloor), float64(k-1), df); !(p < confounderLevel) {
		return nil
	}
	return []Note{{Code: ConfounderPasses, Side: f.name, Ratio: spread(blocks), Count: k}}
}

// fUpper is P(F > numerator/denominator) for a denominator above 0.
func fUpper(numerator, denominator, df1, df2 float64) float64 {
	if numerator == 0 {
		return 1
	}
	// By the reciprocal, which keeps the far tail exact.
	return fProbability(denominator/numerator, df2, df1)
}

// drifts tests whether a side's results rise or fall during the day, by the
// common slope of z over the time of start within cells (analysis of covariance).
// [Fisher 1932]
func drifts(f *sideFacts) []Note {
	first, last, ok := f.span()
	if !ok || !last.After(first) {
		return nil
	}
	hours := func(at time.Time) float64 { return at.Sub(first).Hours() }
	var tt, tz, zz float64
	df := -1
	for _, s := range f.samples {
		if s.n() < 2 {
			continue
		}
		t := make([]float64, s.n())
		for k, i := range s.runs {
			if f.side.runs[i].StartedAt.IsZero() {
				return nil
			}
			t[k] = hours(f.side.runs[i].StartedAt.Time)
		}
		meanT, meanZ := stat.Mean(t, nil), s.mean()
		for k, z := range s.z {
			tt += (t[k] - meanT) * (t[k] - meanT)
			tz += (t[k] - meanT) * (z - meanZ)
			zz += (z - meanZ) * (z - meanZ)
		}
		df += s.n() - 1
	}
	if df < 2 || tt == 0 {
		return nil
	}
	slope := tz / tt
	rest := math.Max(zz-slope*tz, 0)
	if p := fUpper(slope*tz, math.Max(rest/float64(df), varianceFloor), 1, float64(df)); !(p < confounderLevel) {
		return nil
	}
	return []Note{{Code: ConfounderDrift, Side: f.name, Hours: Number(hours(last)), Ratio: relative(slope * hours(last))}}
}

// spread is the relative difference between the highest and the lowest of blocks.
func spread(blocks []float64) Number { return relative(slices.Max(blocks) - slices.Min(blocks)) }
