package analysis

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"sweepd/run"
)

const (
	studyReports = 2000 // where the study is run whole
	studyPage    = 8    // comparisons of a report

	// claimsLevel is how many reports without a difference may claim one, and how many
	// without a dip one.
	claimsLevel = 0.06
)

// TestStudyClaims counts how often the summary of a page of 8 comparisons of two devices
// that differ in nothing claims that one is ahead, at some setting or on the whole, or that
// the lead changes; and how often it claims a dip or a fall on the 16 curves, which have
// none. Held to 6 % where there are three runs and more; with one and two, and what is said
// of floors and caps that are not there, is shown.
func TestStudyClaims(t *testing.T) {
	for i, n := range []int{1, 2, 3, 5} {
		if !*studyFull && n < 3 {
			continue
		}
		t.Run(fmt.Sprint("n=", n), func(t *testing.T) {
			t.Parallel()
			reports := studySize(40)
			var c claimed
			rng := studyRandom(i, 500)
			asked := 0.0
			for i := range reports {
				runs := nullPage(rng, n)
				c.count(claimsOf(t, runs))
				if i%4 == 0 {
					asked++
					c.byResults += share(floorByResults(t, runs))
				}
			}
			b := float64(reports)
			if *studyFull {
				fmt.Printf("reports of 8 comparisons without a difference, n %d, %d of them: %.4f claim a lead (%.4f a crossing), %.4f a dip or fall, %.4f a floor or cap (%.4f by results alone, without package watts); level on the whole %.2f\n",
					n, reports, c.lead/b, c.crossing/b, c.trend/b, c.keeping/b, c.byResults/asked, c.level/b)
			}
			if n >= 3 {
				atMost(t, "reports that claim a lead", n, c.lead/b, claimsLevel+chance(claimsLevel, reports))
				atMost(t, "reports that claim a dip or fall", n, c.trend/b, claimsLevel+chance(claimsLevel, reports))
			}
		})
	}
}

// chance is how far a simulation may lie above a share: not at all where it is run whole.
func chance(share float64, reports int) float64 {
	if reports >= studyReports {
		return 0
	}
	return proportionTolerance(share, reports)
}

// claimed counts the pages that claim something: a lead of any kind, a crossing, a dip or
// fall, that a device does not keep to a setting; and the share of comparisons that are
// level on the whole.
type claimed struct{ lead, crossing, trend, keeping, byResults, level float64 }

func (c *claimed) count(list []Claim) {
	var lead, crossing, trend, keeping bool
	for _, k := range list {
		crossing = crossing || k.Kind == ClaimCrossing
		lead = lead || crossing || k.Verdict == VerdictA || k.Verdict == VerdictB
		trend = trend || k.Kind == ClaimDip || k.Kind == ClaimFall
		keeping = keeping || k.Kind == ClaimFloor || k.Kind == ClaimCap
		if k.Kind == ClaimOverall && k.Verdict == VerdictTie {
			c.level += 1.0 / studyPage
		}
	}
	c.lead, c.crossing, c.trend, c.keeping = c.lead+share(lead), c.crossing+share(crossing), c.trend+share(trend), c.keeping+share(keeping)
}

// floorByResults tells whether a floor is claimed of any curve without package watts.
func floorByResults(t *testing.T, runs []run.Run) bool {
	t.Helper()
	for i := range runs {
		runs[i].PackageW = nil
	}
	curve, err := Curve(runs, CurveRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return len(ofKind(Claims([]Evidence{{Curve: &curve}}), ClaimFloor)) > 0
}

// nullPage is the runs of eight workloads on two equal devices that follow every setting,
// with 1 % of noise in results and package watts.
func nullPage(rng *rand.Rand, n int) (runs []run.Run) {
	for k := range studyPage {
		for _, r := range (campaign{n: n, cv: 0.01}).runs(rng) {
			r.Workload = fmt.Sprint("tile-sort-", k)
			r.PackageW = pointer(setWatts(&r) * (1 + 0.01*rng.NormFloat64()))
			runs = append(runs, r)
		}
	}
	return runs
}
