package table

import (
	"cmp"
	"fmt"
	"strconv"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Text is a cell of words.
func Text(s string) Cell { return Cell{Text: s} }

// Count is a cell of a whole number.
func Count(n int) Cell { return Cell{Text: strconv.Itoa(n), Exact: strconv.Itoa(n)} }

// Number is a cell of a number with so many decimals.
func Number(v analysis.Number, decimals int) Cell {
	return Cell{Text: sentence.Fixed(float64(v), decimals), Exact: exact(v)}
}

// quantity is a number of any size: on a terminal a power of ten where the decimals
// would show hardly a digit of it. The page has it in full beside.
func quantity(v analysis.Number, decimals int) Cell {
	return Cell{Text: sentence.Quantity(float64(v), decimals), PageText: sentence.Fixed(float64(v), decimals), Exact: exact(v)}
}

// percent is a ratio in percent; Exact is the ratio.
func percent(v analysis.Number, decimals int) Cell {
	return Cell{Text: sentence.SignedPercent(float64(v), decimals), Exact: exact(v)}
}

// significant is a number of three digits; where it is not known a terminal shows
// nothing.
func significant(v analysis.Number) Cell {
	c := Cell{PageText: sentence.Significant(float64(v)), Exact: exact(v)}
	if v.Known() {
		c.Text = c.PageText
	}
	return c
}

// probability is a p of at least 0.001.
func probability(p analysis.Number) Cell {
	c := Number(p, 3)
	if p.Known() && p < 0.001 {
		c.Text = "< 0.001"
	}
	return c
}

// setting is a setting: on a terminal in a column headed "W".
func setting(watts analysis.Number, name string) Cell {
	c := Cell{Text: cmp.Or(name, "unknown"), PageText: sentence.Setting(watts, name), Exact: exact(watts)}
	if watts.Known() {
		c.Text = sentence.Watts(float64(watts))
	}
	return c
}

// beyondNoise says whether a difference is more than noise.
func beyondNoise(is bool) Cell {
	if is {
		return Cell{Text: "yes", Tone: sentence.Good}
	}
	return Cell{Text: "no", Tone: sentence.Doubtful}
}

// exact is the shortest text that reads back as the same number.
func exact(v analysis.Number) string {
	if !v.Known() {
		return ""
	}
	return strconv.FormatFloat(float64(v), 'g', -1, 64)
}

// lowerHead and upperHead are the heads of the columns with the ends of an interval.
func lowerHead(confidence float64) string { return fmt.Sprintf("%.0f %% from", 100*confidence) }

const upperHead = "to"

// decimals are those of a column of numbers with their intervals, at most most.
func decimals[T any](rows []T, most int, of func(*T) (v, lower, upper analysis.Number)) int {
	values, halves := make([]float64, len(rows)), make([]float64, len(rows))
	for i := range rows {
		v, lower, upper := of(&rows[i])
		values[i], halves[i] = float64(v), sentence.HalfWidth(lower, upper)
	}
	return sentence.ColumnDecimals(values, halves, most)
}
