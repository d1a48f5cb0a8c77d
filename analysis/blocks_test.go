package analysis

import (
	"math"
	"testing"
	"time"

	"sweepd/run"
)

// inPasses makes cells of one device whose k-th runs all start in pass k.
func inPasses(z [][]float64) ([]run.Run, []sample) {
	var runs []run.Run
	samples := make([]sample, len(z))
	for j, values := range z {
		for k, v := range values {
			samples[j].z = append(samples[j].z, v)
			samples[j].runs = append(samples[j].runs, len(runs))
			runs = append(runs, run.Run{StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(k*len(z)+j) * time.Minute)}})
		}
	}
	return runs, samples
}

func TestPasses(t *testing.T) {
	runs, samples := inPasses([][]float64{{1, 2, 3}, {4, 5}, {6}})
	if got := passes(runs, samples); got != 3 {
		t.Errorf("%d passes, want 3", got)
	}
	runs[samples[0].runs[0]].StartedAt = runs[samples[1].runs[1]].StartedAt
	if got := passes(runs, samples); got != 0 {
		t.Errorf("%d passes where a first run began with a second one, want none", got)
	}
	// Earlier means earlier: a first run that starts with a second one is not.
	runs, samples = inPasses([][]float64{{1, 2}, {4, 5}})
	runs[samples[1].runs[0]].StartedAt = runs[samples[0].runs[1]].StartedAt
	if got := passes(runs, samples); got != 0 {
		t.Errorf("%d passes where the last first run began at the moment of the first second one, want none", got)
	}
	runs[samples[1].runs[0]].StartedAt = run.Timestamp{Time: runs[samples[0].runs[1]].StartedAt.Add(-1)}
	if got := passes(runs, samples); got != 2 {
		t.Errorf("%d passes where the last first run began just before the first second one, want 2", got)
	}
	runs, samples = inPasses([][]float64{{1}, {2}})
	if got := passes(runs, samples); got != 0 {
		t.Errorf("%d passes without repeats, want none", got)
	}
	for i := range runs {
		runs[i].StartedAt = run.Timestamp{}
	}
	if got := passes(runs, samples); got != 0 {
		t.Errorf("%d passes without times, want none", got)
	}
}

// In a complete design the least squares blocks are the means of the passes less
// the mean of all (Cochran & Cox 1957, randomised blocks).
func TestFitBlocksComplete(t *testing.T) {
	_, samples := inPasses([][]float64{{1, 2, 4}, {3, 3.5, 5}, {0, 2, 1}, {7, 7, 9}})
	blocks := fitBlocks(samples, 3)
	for k, want := range []float64{11.0 / 4, 14.5 / 4, 19.0 / 4} {
		if got := blocks[k]; math.Abs(got-(want-44.5/12)) > 1e-12 {
			t.Errorf("block %d = %.15g, want %.15g", k, got, want-44.5/12)
		}
	}
}

// With unequal repeats the fit meets the normal equations: residuals sum to zero
// in every cell and in every pass.
func TestFitBlocksUnequal(t *testing.T) {
	_, samples := inPasses([][]float64{{1, 2, 4, 8}, {3, 3.5}, {0}, {7, 7, 9}})
	blocks := fitBlocks(samples, 4)
	left := withoutBlocks(samples, blocks)
	sums := make([]float64, 4)
	for _, s := range left {
		for k, z := range s.z {
			sums[k] += z - s.mean()
		}
	}
	for k, s := range sums {
		if math.Abs(s) > 1e-11 {
			t.Errorf("residuals of pass %d sum to %g", k, s)
		}
	}
}

// Few settings leave few degrees of freedom; the bounds must hold all the same.
// 0.95 within four standard errors of 1000 campaigns.
func TestBlocksSmallCampaign(t *testing.T) {
	const campaigns = 1000
	c := campaign{n: 5, cv: 0.01, drift: 1, watts: studyWatts[:1]}
	rng, held := studyRandom(100, 0), 0.0
	for range campaigns {
		x := c.compare(t, rng)
		if x.Blocks != 5 {
			t.Fatalf("%d blocks, want 5", x.Blocks)
		}
		if holds(x, 0) {
			held++
		}
	}
	if share := held / campaigns; math.Abs(share-0.95) > 4*math.Sqrt(0.95*0.05/campaigns) {
		t.Errorf("bounds hold in %.3f of campaigns, want 0.95", share)
	}
}

// The fit reaches what alternating between cells and blocks converges to, also
// where alternating takes thousands of rounds.
func TestFitBlocksAlternating(t *testing.T) {
	rng := studyRandom(101, 0)
	for name, runs := range map[string]func(j int) int{
		"stairs":   func(j int) int { return 1 + j },
		"one long": func(j int) int { return 2 + 38*(1-min(j, 1)) },
		"mixed":    func(j int) int { return 1 + (j*7)%5 },
	} {
		var z [][]float64
		for j := range 20 {
			values := make([]float64, runs(j))
			for k := range values {
				values[k] = rng.NormFloat64()
			}
			z = append(z, values)
		}
		_, samples := inPasses(z)
		count := 0
		for _, s := range samples {
			count = max(count, s.n())
		}
		got, want := fitBlocks(samples, count), alternate(samples, count)
		for k := range want {
			if math.Abs(got[k]-want[k]) > 1e-10 {
				t.Errorf("%s: block %d = %.12g, want %.12g", name, k, got[k], want[k])
			}
		}
	}
}

// alternate fits blocks by the plain algorithm: cell means of z - block, block
// means of z - cell, blocks of mean 0, until nothing changes by 1e-13.
func alternate(samples []sample, count int) []float64 {
	blocks := make([]float64, count)
	for range 1000000 {
		next, size := make([]float64, count), make([]float64, count)
		for _, s := range withoutBlocks(samples, blocks) {
			for k, z := range s.z {
				next[k] += z + blocks[k] - s.mean()
				size[k]++
			}
		}
		centre, change := 0.0, 0.0
		for k := range next {
			next[k] /= size[k]
			centre += next[k] / float64(count)
		}
		for k := range next {
			next[k] -= centre
			change = math.Max(change, math.Abs(next[k]-blocks[k]))
		}
		if blocks = next; change < 1e-13 {
			break
		}
	}
	return blocks
}
