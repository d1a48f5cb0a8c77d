package analysis

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"sweepd/run"
)

// passes counts the blocks that the cells were run in: 0 unless some cell has
// two runs and all k-th runs of the cells began before any (k+1)-th run. Cells
// hold their runs in order of start. [Cochran & Cox 1957]
func passes(runs []run.Run, samples []sample) int {
	most := 0
	for _, s := range samples {
		most = max(most, s.n())
	}
	if most < 2 {
		return 0
	}
	first, last := make([]time.Time, most), make([]time.Time, most)
	for _, s := range samples {
		for k, i := range s.runs {
			at := runs[i].StartedAt.Time
			if first[k].IsZero() || at.Before(first[k]) {
				first[k] = at
			}
			if at.After(last[k]) {
				last[k] = at
			}
		}
	}
	for k := 1; k < most; k++ {
		if !last[k-1].Before(first[k]) {
			return 0
		}
	}
	return most
}

// fitBlocks fits z = cell + block by least squares over all cells, the k-th run
// of every cell belonging to block k, and returns the blocks, of mean 0.
//
// With the cells' means eliminated the normal equations are A b = r, where r_k
// sums z less its cell's mean over block k. They are solved by conjugate
// gradients [Hestenes & Stiefel 1952], scaled by the blocks' sizes: alternating
// between cells and blocks has the same limit but hardly moves where one cell has
// far more runs than the others.
func fitBlocks(samples []sample, count int) []float64 {
	eq := newBlockEquations(samples, count)
	b, residual := make([]float64, count), eq.right
	step, image := make([]float64, count), make([]float64, count)
	before := 0.0
	for range blockRounds {
		now := 0.0
		for k, r := range residual {
			now += r * r / eq.size[k]
		}
		if now <= eq.negligible {
			break
		}
		turn := 0.0
		if before > 0 {
			turn = now / before
		}
		for k, r := range residual {
			step[k] = r/eq.size[k] + turn*step[k]
		}
		eq.apply(step, image)
		length := now / floats.Dot(step, image)
		floats.AddScaled(b, length, step)
		floats.AddScaled(residual, -length, image)
		before = now
	}
	floats.AddConst(-stat.Mean(b, nil), b)
	return b
}

const (
	blockRounds    = 2000
	blockTolerance = 1e-13 // change of a block that ends the fit, relative to the largest logarithm where that is above 1
)

// blockEquations are the normal equations of the blocks. As a cell of n runs has
// one in each of the first n blocks, A needs only the number of cells by n.
type blockEquations struct {
	size       []float64 // cells that have a run in block k
	ofSize     []float64 // cells with k+1 runs
	right      []float64
	negligible float64 // squared length of a residual that counts as none
}

func newBlockEquations(samples []sample, count int) blockEquations {
	eq := blockEquations{size: make([]float64, count), ofSize: make([]float64, count), right: make([]float64, count)}
	largest := 1.0
	for _, s := range samples {
		eq.ofSize[s.n()-1]++
		mean := s.mean()
		for k, z := range s.z {
			eq.size[k]++
			eq.right[k] += z - mean
			largest = math.Max(largest, math.Abs(z))
		}
	}
	eq.negligible = blockTolerance * blockTolerance * largest * largest
	return eq
}

// apply sets image to A b: each block's sum less the means of b in its cells.
func (eq blockEquations) apply(b, image []float64) {
	sum := 0.0
	for k, v := range b {
		sum += v
		image[k] = sum / float64(k+1) * eq.ofSize[k] // of the cells that end here
	}
	means := 0.0
	for k := len(b) - 1; k >= 0; k-- {
		means += image[k]
		image[k] = eq.size[k]*b[k] - means
	}
}

// withoutBlocks returns copies of the cells with the blocks taken off.
func withoutBlocks(samples []sample, blocks []float64) []sample {
	out := slices.Clone(samples)
	for j := range out {
		out[j].z = slices.Clone(out[j].z)
		for k := range out[j].z {
			out[j].z[k] -= blocks[k]
		}
	}
	return out
}

// removeBlocks takes the passes out of two sides of one device and returns their
// shifts and the share of the degrees of freedom that they cost. Between two
// devices there are no blocks: each has its own day, and removing it would hide
// the very error that remains.
func removeBlocks(a, b *side, sameDevice bool) (blocks []float64, spent float64) {
	if !sameDevice {
		return nil, 0
	}
	both := slices.Concat(a.samples, b.samples)
	count := passes(a.runs, both)
	if count == 0 {
		return nil, 0
	}
	blocks = fitBlocks(both, count)
	a.samples, b.samples = withoutBlocks(a.samples, blocks), withoutBlocks(b.samples, blocks)
	n := 0
	for _, s := range both {
		n += s.n()
	}
	return blocks, math.Min(float64(count-1)/float64(n-len(both)), 1)
}
