package sentence

import (
	"fmt"

	"sweepd/analysis"
)

// OnCurve says what a claim on one curve is: a floor or a cap, a dip, a fall.
func OnCurve(k *analysis.Claim) Sentence {
	source := ""
	if k.Source == analysis.RangeFromResults {
		source = ", judging by results alone"
	}
	at := Significant(float64(k.AtW))
	from, to := Setting(k.FromW, k.From), Setting(k.ToW, k.To)
	switch k.Kind {
	case analysis.ClaimFloor:
		return Sentence{Good, fmt.Sprintf("Set to %s or less it acts as if set to %s W%s.", to, at, source)}
	case analysis.ClaimCap:
		return Sentence{Good, fmt.Sprintf("Set to %s or more it acts as if set to %s W%s.", from, at, source)}
	case analysis.ClaimDip:
		return Sentence{Good, dip(from, k.Diff)}
	}
	return Sentence{Good, "From " + from + " to " + to + " results get worse with more power: " + offTrend(k.Diff)}
}

// dip says that the result at a setting is not what those around it let expect.
func dip(at string, change analysis.Number) string {
	return "At " + at + " the result dips below the trend: " + offTrend(change)
}

// offTrend is how far a result lies off; minus is worse, also where less is better.
func offTrend(change analysis.Number) string {
	return SignedPercent(float64(change), min(1, threeDigits(100*float64(change)))) + " %, more than noise."
}
