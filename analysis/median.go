package analysis

import (
	"math"
	"slices"
)

// Median is the middle value, of an even number the mean of the middle two, NaN of
// none. The values stay as they are.
func Median(values []float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(values))
	half := len(sorted) / 2
	if len(sorted)%2 == 1 {
		return sorted[half]
	}
	return sorted[half-1]/2 + sorted[half]/2
}
