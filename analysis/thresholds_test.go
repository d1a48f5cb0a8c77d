package analysis

import (
	"math"
	"slices"
	"testing"
)

// pairsOf makes samples of two runs each, that lie so far to both sides of the
// cell's mean.
func pairsOf(distances ...float64) []sample {
	samples := make([]sample, len(distances))
	for j, d := range distances {
		x := math.Log(float64(10 + 5*j))
		samples[j] = sample{x: x, watts: float64(10 + 5*j), z: []float64{x - d, x + d}, runs: []int{2 * j, 2*j + 1}}
	}
	return samples
}

// A cell is isolated where its largest |u| exceeds 3 sigma, and speaks for itself
// from 2.5 sigma, with sigma = 1.4826 median |u|. [Hampel 1974; Davies & Gather
// 1993] Two runs at a distance d from their mean have |u| = d sqrt 2 both, so that a
// cell at d = k 1.4826 d0 among cells at d0 has q = k sigma.
func TestIsolationThresholds(t *testing.T) {
	const usual = 0.01
	for _, c := range []struct {
		sigmas              float64
		isolated, outspoken bool
	}{{2.49, false, false}, {2.51, false, true}, {2.99, false, true}, {3.01, true, true}} {
		odd := c.sigmas * 1.4826 * usual
		samples := pairsOf(usual, usual, usual, usual, odd, usual, usual, usual, usual, usual, usual)
		noise := estimateNoise(samples, noiseOptions{})
		for j, sample := range noise.settings {
			if want := c.isolated && j == 4; sample.isolated != want {
				t.Errorf("%g sigma: cell %d isolated: %v", c.sigmas, j, sample.isolated)
			}
		}
		if got := len(noise.outliers) == 2; got != c.isolated {
			t.Errorf("%g sigma: flagged %v", c.sigmas, noise.outliers)
		}
		own := 2 * odd * odd // the variance of two runs, d to either side of their mean
		if got := math.Abs(noise.settings[4].v/own-1) < 1e-12; got != c.outspoken {
			t.Errorf("%g sigma: variance %g, that of its own runs is %g", c.sigmas, noise.settings[4].v, own)
		}
	}
}

// Inside an isolated cell the runs further than 3 sigma from its median are named.
func TestFlagRunsThreshold(t *testing.T) {
	const usual = 0.01
	sigma := 1.4826 * usual * math.Sqrt2
	samples := pairsOf(usual, usual, usual, usual, usual, usual)
	samples[2].z, samples[2].runs = []float64{1, 1 + 3.01*sigma, 1 - 2.99*sigma}, []int{20, 21, 22}
	noise := estimateNoise(samples, noiseOptions{})
	if want := []outlier{{setting: 2, run: 21}}; !slices.Equal(noise.outliers, want) {
		t.Errorf("flagged %v, want %v", noise.outliers, want)
	}
}

// Isolated cells stay out of the pool, unless they hold more than half of all degrees
// of freedom: then all are pooled, and nothing was truncated.
func TestPoolWithoutIsolatedCells(t *testing.T) {
	rep := newRepeats(pairsOf(0.01, 0.01, 0.03, 0.03))
	_, pooled := rep.pools([]bool{false, false, true, true}, false, 1)
	near(t, "half isolated: nu", pooled.nu, 2, 0)
	near(t, "half isolated: variance", pooled.s2, 2*0.01*0.01/0.96, 1e-12) // of two runs, d to either side: 2 d^2
	_, pooled = rep.pools([]bool{false, true, true, true}, false, 1)
	near(t, "most isolated: nu", pooled.nu, 4, 0)
	near(t, "most isolated: variance", pooled.s2, (0.01*0.01 + 0.03*0.03), 1e-12)
}

// Blocks cost K - 1 of the N - C degrees of freedom: what is left in a complete
// design are the (K-1)(C-1) of its error, and the error's sum of squares is that of
// a randomised block experiment, sum (z - cell - block + all)^2. [Cochran & Cox
// 1957]
func TestBlockDegreesOfFreedom(t *testing.T) {
	const passes, settings = 3, 6
	rng := studyRandom(102, 0)
	z := make([][]float64, 2*settings)
	for j := range z {
		for k := range passes {
			z[j] = append(z[j], float64(j)+0.05*float64(k)+0.01*rng.NormFloat64())
		}
	}
	runs, samples := inPasses(z)
	for j := range samples {
		samples[j].x = float64(j % settings)
	}
	a, b := side{runs: runs, samples: samples[:settings]}, side{runs: runs, samples: samples[settings:]}
	blocks, spent := removeBlocks(&a, &b, true)
	if len(blocks) != passes {
		t.Fatalf("%d blocks, want %d", len(blocks), passes)
	}
	nu, squares := 0.0, 0.0
	for _, s := range []side{a, b} {
		c := estimateNoise(s.samples, noiseOptions{spent: spent}).settings[0]
		if c.source != NoisePooled {
			t.Fatalf("noise from %s, want pooled", c.source)
		}
		nu += c.nu
		squares += c.nu * c.v * 0.96 // which undoes the truncation
	}
	near(t, "degrees of freedom", nu, (passes-1)*(2*settings-1), 1e-12)
	near(t, "sum of squares", squares, additiveResidual(z), 1e-9)
}

// additiveResidual is the sum of squares that rows and columns leave in a table.
func additiveResidual(z [][]float64) float64 {
	rows, columns, all := make([]float64, len(z)), make([]float64, len(z[0])), 0.0
	for j := range z {
		for k, v := range z[j] {
			rows[j] += v / float64(len(columns))
			columns[k] += v / float64(len(rows))
			all += v / float64(len(rows)*len(columns))
		}
	}
	sum := 0.0
	for j := range z {
		for k, v := range z[j] {
			r := v - rows[j] - columns[k] + all
			sum += r * r
		}
	}
	return sum
}
