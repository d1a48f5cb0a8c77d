package analysis

// isotonic returns the non-decreasing sequence that is closest to y in weighted
// least squares, by pooling adjacent violators. Weights must be positive; y and
// w have equal length. The inputs are left alone.
//
// Source: Ayer, Brunk, Ewing, Reid & Silverman 1955, Ann. Math. Stat. 26;
// Barlow, Bartholomew, Bremner & Brunk 1972.
func isotonic(y, w []float64) []float64 {
	type pool struct {
		mean, weight float64
		size         int
	}
	pools := make([]pool, 0, len(y))
	for i := range y {
		pools = append(pools, pool{y[i], w[i], 1})
		for len(pools) > 1 && pools[len(pools)-2].mean > pools[len(pools)-1].mean {
			a, b := pools[len(pools)-2], pools[len(pools)-1]
			share := b.weight / (a.weight + b.weight)
			pools = pools[:len(pools)-1]
			// Written as a step from a, so that equal values stay equal.
			pools[len(pools)-1] = pool{a.mean + (b.mean-a.mean)*share, a.weight + b.weight, a.size + b.size}
		}
	}
	out := make([]float64, 0, len(y))
	for _, p := range pools {
		for range p.size {
			out = append(out, p.mean)
		}
	}
	return out
}
