package sentence

import (
	"testing"

	"sweepd/analysis"
)

func TestClaimsOnCurves(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		k    analysis.Claim
		want string
	}{
		{analysis.Claim{Kind: analysis.ClaimFloor, FromW: 5, ToW: 10, AtW: 11, Source: analysis.RangeFromPackage}, "Set to 10 W or less it acts as if set to 11.0 W."},
		{analysis.Claim{Kind: analysis.ClaimFloor, FromW: 5, ToW: 10, AtW: 11, Source: analysis.RangeFromResults}, "Set to 10 W or less it acts as if set to 11.0 W, judging by results alone."},
		{analysis.Claim{Kind: analysis.ClaimCap, FromW: 45, ToW: 60, AtW: 40.7, Source: analysis.RangeFromPackage}, "Set to 45 W or more it acts as if set to 40.7 W."},
		{analysis.Claim{Kind: analysis.ClaimDip, FromW: 28, ToW: 28, AtW: 28, Diff: -0.059}, "At 28 W the result dips below the trend: -5.9 %, more than noise."},
		{analysis.Claim{Kind: analysis.ClaimDip, FromW: u, ToW: u, AtW: u, From: "quiet", To: "quiet", Diff: -0.059}, "At quiet the result dips below the trend: -5.9 %, more than noise."},
		{analysis.Claim{Kind: analysis.ClaimFall, FromW: 40, ToW: 50, AtW: u, Diff: -0.063}, "From 40 W to 50 W results get worse with more power: -6.3 %, more than noise."},
	} {
		if got := OnCurve(&c.k); got != (Sentence{Good, c.want}) {
			t.Errorf("%s: %v, want %q", c.k.Kind, got, c.want)
		}
	}
}
