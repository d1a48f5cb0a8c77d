package analysis

import (
	"fmt"
	"math"
)

const (
	mserBatch = 5 // values per batch: the "5" of MSER-5
	mserSpare = 5 // batches at the end that may not be the start of the steady part: too few to judge by
)

// WarmUp is what WarmUpMSER5 found.
type WarmUp struct {
	Cut       int     // leading values to leave out; 0 when nothing is to be cut
	Reached   bool    // a steady part was found: the cut lies in the first half and enough values remain
	Mean      float64 // mean of the values after Cut; NaN when there is none
	Criterion float64 // the least marginal standard error, squared, in the square of the values' unit; NaN if not computed
	Note      string  // why Reached is false; else empty
}

// WarmUpMSER5 finds where a warm-up ends in values taken at equal intervals of
// time. It averages them in batches of five and cuts the number of batches d
// that minimises the squared marginal standard error of what remains,
//
//	MSER(d) = sum_{j>d} (Z_j - mean_d)^2 / (k - d)^2 ,
//
// with Z_j the k batch means and mean_d the mean of those after d; the first d
// if tied. Cuts that would leave fewer than five batches are not considered,
// and a minimum in the second half means that the values never became steady:
// then nothing is cut and Reached is false.
//
// Values that are not finite are missing: a batch is the mean of those it has,
// and a batch with none does not count. A last batch that is not full is left
// out of the search but not of Mean. Fewer than ten batches (50 values) are too
// few to search. values is left alone.
//
// Source: White 1997, Simulation 69:323-334 (the rule); White, Cobb & Spratt
// 2000, Winter Simulation Conference (batches of five); Hoad, Robinson & Davies
// 2010, J. Oper. Res. Soc. 61 (spare batches, second half). Nobody looked these up, as README says.
func WarmUpMSER5(values []float64) WarmUp {
	batches := batchMeans(values, mserBatch)
	k := len(batches)
	if k < 2*mserSpare {
		return notSteady(values, math.NaN(), fmt.Sprintf("%d values are too few to find a warm-up: it takes %d", len(values), 2*mserSpare*mserBatch))
	}
	best, least := 0, math.Inf(1)
	// Mean and sum of squares of the batches after d, grown from the end.
	var count, mean, squares float64
	for d := k - 1; d >= 0; d-- {
		if z := batches[d]; !math.IsNaN(z) {
			count++
			delta := z - mean
			mean += delta / count
			squares += delta * (z - mean)
		}
		if count < mserSpare || k-d < mserSpare {
			continue
		}
		if c := squares / (count * count); c <= least {
			best, least = d, c
		}
	}
	switch {
	case math.IsInf(least, 1) || math.IsNaN(least):
		return notSteady(values, math.NaN(), "too few values are known to find a warm-up")
	case best > k/2:
		return notSteady(values, least, "the values had not become steady by the middle of the run")
	}
	cut := best * mserBatch
	return WarmUp{Cut: cut, Reached: true, Mean: finiteMean(values[cut:]), Criterion: least}
}

func notSteady(values []float64, criterion float64, why string) WarmUp {
	return WarmUp{Mean: finiteMean(values), Criterion: criterion, Note: why}
}

// batchMeans returns the means of consecutive full batches of the given size
// over their finite values, NaN where a batch has none.
func batchMeans(values []float64, size int) []float64 {
	means := make([]float64, 0, len(values)/size)
	for i := 0; i+size <= len(values); i += size {
		means = append(means, finiteMean(values[i:i+size]))
	}
	return means
}

// finiteMean returns the mean of the finite values, NaN if there is none.
func finiteMean(values []float64) float64 {
	var mean, n float64
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		n++
		mean += v/n - mean/n // never overflows
	}
	if n == 0 {
		return math.NaN()
	}
	return mean
}
