package sentence

import (
	"fmt"

	"sweepd/analysis"
)

// OnCurve says what a claim on one curve is: a floor or a cap, a dip, a fall.
func OnCurve(k *analysis.Claim) Sentence {
	source := ""
	if k.Source == analysis.RangeFromResults {
		source = ", told from results alone"
	}
	at := Significant(float64(k.AtW))
	from, to := Setting(k.FromW, k.From), Setting(k.ToW, k.To)
	change := SignedPercent(float64(k.Diff), 1) + " %, more than noise."
	switch k.Kind {
	case analysis.ClaimFloor:
		return Sentence{Good, fmt.Sprintf("Set to %s or less it acts as if set to %s W%s.", to, at, source)}
	case analysis.ClaimCap:
		return Sentence{Good, fmt.Sprintf("Set to %s or more it acts as if set to %s W%s.", from, at, source)}
	case analysis.ClaimDip:
		return Sentence{Good, "At " + from + " the result is off the trend: " + change}
	}
	return Sentence{Good, "Above " + from + ", up to " + to + ", the result falls with more power: " + change}
}
