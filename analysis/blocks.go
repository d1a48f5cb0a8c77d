package analysis

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
)

// passes counts the blocks that the cells were run in: 0 unless some cell has
// two runs and all k-th runs of the cells began before any (k+1)-th run. Cells
// hold their runs in order of start. [Cochran & Cox 1957]
func passes(runs []Run, cells []Cell) int {
	most := 0
	for _, c := range cells {
		most = max(most, c.N())
	}
	if most < 2 {
		return 0
	}
	first, last := make([]time.Time, most), make([]time.Time, most)
	for _, c := range cells {
		for k, i := range c.Runs {
			at := runs[i].StartedAt
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

// blockTolerance ends the fit of blocks, relative to the largest logarithm where
// that is above 1.
const (
	blockTolerance = 1e-13
	blockRounds    = 2000
)

// fitBlocks fits z = cell + block by least squares over all cells, the k-th run
// of every cell belonging to block k, and returns the blocks, of mean 0.
func fitBlocks(cells []Cell, count int) []float64 {
	blocks, size := make([]float64, count), make([]float64, count)
	largest := 1.0
	for _, c := range cells {
		for k, z := range c.Z {
			size[k]++
			largest = math.Max(largest, math.Abs(z))
		}
	}
	next := make([]float64, count)
	for range blockRounds {
		clear(next)
		for _, c := range cells {
			mean := 0.0
			for k, z := range c.Z {
				mean += z - blocks[k]
			}
			mean /= float64(c.N())
			for k, z := range c.Z {
				next[k] += z - mean
			}
		}
		for k := range next {
			next[k] /= size[k]
		}
		centre, change := stat.Mean(next, nil), 0.0
		for k := range next {
			next[k] -= centre
			change = math.Max(change, math.Abs(next[k]-blocks[k]))
		}
		blocks, next = next, blocks
		if change < blockTolerance*largest {
			break
		}
	}
	return blocks
}

// withoutBlocks returns copies of the cells with the blocks taken off.
func withoutBlocks(cells []Cell, blocks []float64) []Cell {
	out := slices.Clone(cells)
	for j := range out {
		out[j].Z = slices.Clone(out[j].Z)
		for k := range out[j].Z {
			out[j].Z[k] -= blocks[k]
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
	both := slices.Concat(a.cells, b.cells)
	count := passes(a.runs, both)
	if count == 0 {
		return nil, 0
	}
	blocks = fitBlocks(both, count)
	a.cells, b.cells = withoutBlocks(a.cells, blocks), withoutBlocks(b.cells, blocks)
	n := 0
	for _, c := range both {
		n += c.N()
	}
	return blocks, math.Min(float64(count-1)/float64(n-len(both)), 1)
}
