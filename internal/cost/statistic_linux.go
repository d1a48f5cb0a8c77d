package main

import (
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
)

// quantile is the empirical quantile of values, which are left as they are.
func quantile(p float64, values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return stat.Quantile(p, stat.Empirical, sorted, nil)
}

func median(values []float64) float64 { return quantile(0.5, values) }

func micros(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }
