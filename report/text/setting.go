package text

import (
	"strings"

	"sweepd/analysis"
)

// settingText is watts with their unit, or the name where the watts are unknown.
func settingText(watts analysis.Number, name string) string {
	if watts.Known() {
		return Watts(float64(watts)) + " W"
	}
	return name
}

// settingCell is the same for a column headed "W".
func settingCell(watts analysis.Number, name string) Cell {
	if watts.Known() {
		return Cell{Text: Watts(float64(watts))}
	}
	return Cell{Text: name}
}

// rangeText is a stretch of settings.
func rangeText(from, to string) string {
	if from == to {
		return "at " + from
	}
	if short, ok := strings.CutSuffix(from, " W"); ok && strings.HasSuffix(to, " W") {
		from = short
	}
	return "from " + from + " to " + to
}

// intervalText is "(2.2 to 4.0)", empty where an end is unknown.
func intervalText(lower, upper analysis.Number, decimals int) string {
	if !lower.Known() || !upper.Known() {
		return ""
	}
	return " (" + Fixed(float64(lower), decimals) + " to " + Fixed(float64(upper), decimals) + ")"
}

// halfWidth is half of an interval, unknown where an end is.
func halfWidth(lower, upper analysis.Number) float64 { return float64(upper-lower) / 2 }

// columnDecimals is how many decimals a column of numbers deserves: as the
// smallest uncertainty says, so that the numbers stand in line. values and
// uncertainties may be unknown.
func columnDecimals(values, uncertainties []float64, most int) int {
	finest, known := 0, false
	for i, v := range values {
		if !(uncertainties[i] > 0) {
			continue
		}
		if d := Decimals(v, uncertainties[i]); !known || d > finest {
			finest, known = d, true
		}
	}
	if !known {
		for _, v := range values {
			finest = max(finest, Decimals(v, 0))
		}
	}
	return min(finest, most)
}
