package analysis

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// enoughCurves are the curves on which the interval of enough was studied (methods,
// section 8).
var enoughCurves = []struct {
	name string
	f    func(w float64) float64
}{
	{"saturating", saturating},
	{"slow", func(w float64) float64 { return 100 * (1 - math.Exp(-(w-2)/25)) }},
	{"flat", func(float64) float64 { return 100 }},
	{"falling", func(w float64) float64 {
		return saturating(w) * (1 - map[float64]float64{60: 0.01, 72: 0.02, 85: 0.03}[w])
	}},
	{"line", func(w float64) float64 { return 50 + w/2 }},
}

// publishedEnoughWidths are mean widths in W of the interval on the saturating curve with
// three runs (methods, section 8; 400 campaigns), and the least share that holds the truth.
var publishedEnoughWidths = map[float64]float64{0.005: 6.1, 0.01: 16, 0.02: 39}

const publishedEnoughCover = .988

// TestStudyEnough counts how often the interval of enough holds the smallest setting that
// truly gives 95 % of the best, and how wide it is; without an upper end it ends at the
// largest setting.
func TestStudyEnough(t *testing.T) {
	t.Parallel()
	campaigns := studySize(200)
	table := &studyTable{t: t}
	for row, noise := range rangeNoise {
		if !*studyFull && noise.n != 3 {
			continue
		}
		var figures []figure
		for column, c := range enoughCurves {
			cover, width, open := enoughFigures(t, row, column, noise.n, noise.cv, campaigns)
			// At most what was published may miss; more may hold.
			figures = append(figures, figure{c.name, cover, max(cover, publishedEnoughCover), proportionTolerance(publishedEnoughCover, campaigns), 3})
			if column == 0 {
				published, tolerance := width, 0.0
				if w, ok := publishedEnoughWidths[noise.cv]; ok && noise.n == 3 {
					published, tolerance = w, 0.05*w*fewerCampaigns(min(campaigns, 400))
				}
				figures = append(figures, figure{"width W", width, published, tolerance, 1}, figure{"open", open, open, 0, 2})
			}
		}
		table.row(fmt.Sprintf("n %d CV %g %%", noise.n, 100*noise.cv), figures)
	}
	table.print("interval of enough: share that holds the truth, at least the published one")
}

func enoughFigures(t *testing.T, row, column, n int, cv float64, campaigns int) (cover, width, open float64) {
	f := enoughCurves[column].f
	best := math.Inf(-1)
	for _, w := range studyWatts {
		best = max(best, f(w))
	}
	truth := studyWatts[slices.IndexFunc(studyWatts, func(w float64) bool { return f(w) >= enoughShare*best })]
	simulation := newCurveCampaign(studyRandom(row, 400+column), studyWatts, n)
	for range campaigns {
		x := curveOf(t, simulation.draw(cv, f, nil, 0)).Enough
		to := float64(x.ToW)
		if !x.ToW.Known() {
			to = studyWatts[len(studyWatts)-1]
			open++
		}
		cover += share(float64(x.FromW) <= truth && truth <= to)
		width += to - float64(x.FromW)
	}
	b := float64(campaigns)
	return cover / b, width / b, open / b
}
