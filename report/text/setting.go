package text

import (
	"sweepd/analysis"
	"sweepd/report/sentence"
)

// settingCell is a setting for a column headed "W".
func settingCell(watts analysis.Number, name string) Cell {
	if watts.Known() {
		return Cell{Text: Watts(float64(watts))}
	}
	return Cell{Text: name}
}

func halfWidth(lower, upper analysis.Number) float64 { return sentence.HalfWidth(lower, upper) }

func columnDecimals(values, uncertainties []float64, most int) int {
	return sentence.ColumnDecimals(values, uncertainties, most)
}
