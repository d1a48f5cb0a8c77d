package analysis

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat"

	"sweepd/run"
)

// repeatedTimings are real run times of the same work, ten repeats in each of 42
// cells, with the cells' names (testdata/repeated_timings.csv says from where).
func repeatedTimings(t *testing.T) (names []string, times [][]float64) {
	t.Helper()
	file, err := os.Open("testdata/repeated_timings.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		values := make([]float64, len(row)-1)
		for i, text := range row[1:] {
			if values[i], err = strconv.ParseFloat(text, 64); err != nil {
				t.Fatal(err)
			}
		}
		names, times = append(names, row[0]), append(times, values)
	}
	return names, times
}

// realNoise pools the residuals of all cells, each scaled to the SD of one run:
// how run times of real work are distributed, whatever their size.
func realNoise(t *testing.T) []float64 {
	_, times := repeatedTimings(t)
	var residuals []float64
	for _, values := range times {
		z := make([]float64, len(values))
		for i, v := range values {
			z[i] = -math.Log(v) // a long time is a bad result
		}
		mean, sd := stat.MeanStdDev(z, nil)
		for _, v := range z {
			residuals = append(residuals, (v-mean)/sd/math.Sqrt(1-1/float64(len(z))))
		}
	}
	return residuals
}

// The extract is the published one: cell New/text=go/size=1M/bits=32-8 has mean
// 51385252.5 ns, SD 551547.587156 ns.
func TestRepeatedTimings(t *testing.T) {
	names, times := repeatedTimings(t)
	if len(names) != 42 {
		t.Fatalf("%d cells, want 42", len(names))
	}
	for i, name := range names {
		if name == "New/text=go/size=1M/bits=32-8" {
			mean, sd := stat.MeanStdDev(times[i], nil)
			near(t, "mean", mean, 51385252.5, 1e-12)
			near(t, "sd", sd, 551547.587156, 1e-11)
			return
		}
	}
	t.Error("cell not found")
}

// TestStudyRealNoise repeats the null, coverage and power columns of the
// published table with the noise of real run times instead of a normal one.
// The residuals are skewed towards slow runs (skewness -0.7); the same figures
// are expected within the same tolerances.
func TestStudyRealNoise(t *testing.T) {
	t.Parallel()
	campaigns := studySize(200)
	residuals := realNoise(t)
	noise := func(rng *rand.Rand) float64 { return residuals[rng.IntN(len(residuals))] }
	table := &studyTable{t: t}
	for i, p := range publishedCompare {
		if !*studyFull && p.cv != 1 {
			continue
		}
		row := compareStudy{t, 400 + i, campaigns, p.n, p.cv / 100}
		var won, held, found float64
		row.each(0, campaign{noise: noise}, func(c Comparison) {
			if wins(c) > 0 {
				won++
			}
			if holds(c, 0) {
				held++
			}
		})
		row.each(1, campaign{noise: noise, difference: func(float64) float64 { return math.Log(1.03) }}, func(c Comparison) {
			found += float64(wins(c)) / float64(len(c.Settings))
		})
		b := float64(campaigns)
		table.row(fmt.Sprintf("n %d CV %g %%", p.n, p.cv), []figure{
			{"null", won / b, p.null, proportionTolerance(p.null, campaigns), 3},
			{"cover", held / b, p.cover, proportionTolerance(p.cover, campaigns), 3},
			{"pow", found / b, p.power, proportionTolerance(p.power, campaigns), 2},
		})
	}
	table.print("compare: noise of real run times (published figures are for normal noise)")
}

// The same work timed in turns, odd repeats against even ones: 42 cells whose
// noise differs from 1 to 18 %. Nothing is ahead of itself.
func TestRealTimesTie(t *testing.T) {
	_, times := repeatedTimings(t)
	var runs []run.Run
	for j, values := range times {
		for k, v := range values {
			runs = append(runs, run.Run{
				ID: fmt.Sprintf("%d-%d", j, k), Labels: run.Labels{Device: []string{"unit-oak", "unit-elm"}[k%2], Workload: "tile-sort", Setting: run.Watts(float64(j + 1)).From(run.Declared)},
				Results: map[string]run.Result{"ns": {Value: v, Better: run.Lower}},
			})
		}
	}
	c := compareOne(t, runs, CompareRequest{By: "device"})
	if won := wins(c); won > 0 {
		t.Errorf("%d settings won by the same work: %+v", won, c.Settings)
	}
	if c.Overall.Lower > 0 || c.Overall.Upper < 0 {
		t.Errorf("overall %+v", c.Overall)
	}
}
