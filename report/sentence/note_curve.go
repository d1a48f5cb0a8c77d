package sentence

import (
	"fmt"

	"sweepd/analysis"
)

// noteOnCurve says what is noted of curves.
func noteOnCurve(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.NoUsableResult:
		text := fmt.Sprintf("%s: no usable %s in %s", named(n.Group), n.Metric, Counted(n.Runs, "run"))
		if len(n.Others) > 0 {
			text += fmt.Sprintf("; %s %s", plural(n.Runs, "it has", "they have"), listed(n.Others))
		}
		return text
	case analysis.CurveByName:
		return "settings without watts: no range, knee, enough, marginal gain or result per set watt"
	case analysis.LessIsBetter:
		return "lower is better: a negative departure is a worse (higher) result, a positive marginal gain a better (lower) one, and efficiency is 1/(result x watts)"
	case analysis.NoOrder:
		return "the settings have names without a known order: no departures"
	case analysis.SingleRunDepartures:
		return fmt.Sprintf("%s %s on a single run, which cannot tell a dip from a bad run", Counted(n.Departures, "departure"), plural(n.Departures, "rests", "each rest"))
	case analysis.EfficiencyLeftOut:
		return fmt.Sprintf("efficiency by %s left out: only %d of %s have them", kindOfWatts[n.By], n.Known, Counted(n.All, "setting"))
	case analysis.RangeNotTested:
		return whyNoRange(n) + ": the range is that of the settings tested"
	case analysis.RangeByResults:
		return packagePower(n.Measured, n.All) + ": the range is from results alone, which show two or more ignored low settings but neither a single one nor a cap (a cap looks like a workload that needs no more)"
	case analysis.FlatResults:
		return "the results do not respond to the setting measurably"
	}
	return ""
}

// packagePower says how few settings have package watts.
func packagePower(measured, all int) string {
	if measured == 0 {
		return "no package power"
	}
	return fmt.Sprintf("package power at only %d of %s", measured, Counted(all, "setting"))
}

// whyNoRange says why neither power nor results tell the range.
func whyNoRange(n analysis.RangeNotTested) string {
	inLine := fmt.Sprintf("only %s", Counted(n.InLine, "setting"))
	if n.InLine < n.All {
		inLine += " in line with the trend"
	}
	switch {
	case n.Measured == n.All: // so all of them are too few
		return fmt.Sprintf("only %s", Counted(n.All, "setting"))
	case n.NoNoise:
		return packagePower(n.Measured, n.All) + ", and no noise to judge the results by"
	}
	return packagePower(n.Measured, n.All) + ", and " + inLine + " to judge by the results"
}
