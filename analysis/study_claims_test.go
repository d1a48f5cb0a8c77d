package analysis

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"sweepd/run"
)

// studyReports is how many reports of studyPage comparisons the study of claims simulates
// for a figure, where it is run whole.
const (
	studyReports = 2000
	studyPage    = 8
)

// claimsLevel is how many reports without a difference may claim one, and how many without
// a dip one.
const claimsLevel = 0.06

// TestStudyClaims counts how often the summary of a page of 8 comparisons of two devices
// that differ in nothing claims that one is ahead, at some setting or on the whole, or that
// the lead changes; and how often it claims a dip or a fall on the 16 curves, which have
// none. Held to 6 % where there are three runs and more; with one and two, and what is said
// of floors and caps that are not there, is shown.
func TestStudyClaims(t *testing.T) {
	t.Parallel()
	reports := 60
	if *studyFull {
		reports = min(studyReports, *studyCampaigns)
	}
	for i, n := range []int{1, 2, 3, 5} {
		if !*studyFull && n < 3 {
			continue
		}
		var leads, trends, ranges, level, crossed float64
		rng := studyRandom(i, 500)
		for range reports {
			list := nullPage(t, rng, n)
			claims := func(holds func(Claim) bool) float64 {
				for _, k := range list {
					if holds(k) {
						return 1
					}
				}
				return 0
			}
			crossed += claims(func(k Claim) bool { return k.Kind == ClaimCrossing })
			leads += claims(func(k Claim) bool {
				return k.Kind == ClaimCrossing || k.Verdict == VerdictA || k.Verdict == VerdictB
			})
			trends += claims(func(k Claim) bool { return k.Kind == ClaimDip || k.Kind == ClaimFall })
			ranges += claims(func(k Claim) bool { return k.Kind == ClaimFloor || k.Kind == ClaimCap })
			level += float64(len(ofKind(list, ClaimOverall))) / studyPage
		}
		b := float64(reports)
		if *studyFull {
			fmt.Printf("reports of 8 comparisons without a difference, n %d: %.4f claim a lead (%.4f a crossing), %.4f a dip or fall, %.4f a floor or cap; level on the whole %.2f\n",
				n, leads/b, crossed/b, trends/b, ranges/b, level/b)
		}
		if n >= 3 {
			atMost(t, "reports that claim a lead", n, leads/b, claimsLevel+chance(claimsLevel, reports))
			atMost(t, "reports that claim a dip or fall", n, trends/b, claimsLevel+chance(claimsLevel, reports))
		}
	}
}

// chance is how far a simulation may lie above a share: not at all where it is run whole.
func chance(share float64, reports int) float64 {
	if *studyFull && reports >= studyReports {
		return 0
	}
	return proportionTolerance(share, reports)
}

// nullPage is what a page claims of eight workloads on two equal devices that follow every
// setting, with 1 % of noise in results and package watts.
func nullPage(t *testing.T, rng *rand.Rand, n int) []Claim {
	t.Helper()
	var runs []run.Run
	for k := range studyPage {
		for _, r := range (campaign{n: n, cv: 0.01}).runs(rng) {
			r.Workload = fmt.Sprint("tile-sort-", k)
			r.PackageW = pointer(setWatts(&r) * (1 + 0.01*rng.NormFloat64()))
			runs = append(runs, r)
		}
	}
	return claimsOf(t, runs)
}
