package text

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/rivo/uniseg"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Compare writes comparisons as tables, with sentences for the bands, the
// crossings, the whole, and what could not be decided.
func Compare(w io.Writer, r analysis.CompareResult, o Options) error {
	p := &page{w: w, o: o}
	for i := range r.Comparisons {
		if i > 0 {
			p.gap()
		}
		p.comparison(&r.Comparisons[i])
	}
	if r.Across != nil {
		p.gap()
		c := &r.Comparisons[0]
		p.say("%s", sentence.Across(c.A, c.B, *r.Across))
	}
	for _, a := range r.AcrossPairs {
		if r.Across == nil {
			p.say("%s: %s", sentence.Common(a.Device, a.Supply, a.Variant), sentence.Across(a.A, a.B, a.Across))
		}
	}
	if sentence.Advises(&r) {
		p.say("%s", sentence.Advised)
	}
	p.notes("note", r.Notes)
	return p.err
}

func (p *page) comparison(c *analysis.Comparison) {
	p.tell(Plain, sentence.CompareTitle(c))
	p.table(compareTable(c))
	p.sentences(sentence.Compare(c))
	p.notes("besides", c.Confounders)
	p.notes("note", c.Notes)
}

func compareTable(c *analysis.Comparison) *Table {
	headA, headB := meanHeads(c)
	t := &Table{Columns: []Column{
		{Head: axisHead(c), Right: true, Least: max(6, len(axisHead(c)))}, {Head: "runs", Right: true}, {Head: headA, Right: true}, {Head: headB, Right: true},
		{Head: "a/b %", Right: true}, {Head: Fixed(100*c.Confidence, 0) + " % from", Right: true}, {Head: "to", Right: true},
		{Head: "ahead", Least: 7}, {Head: "more runs", Right: true, Optional: true},
	}}
	means, places := compareDecimals(c)
	for _, s := range c.Settings {
		more := ""
		if s.MoreRuns != nil && *s.MoreRuns > 0 {
			more = fmt.Sprint(*s.MoreRuns)
		}
		t.Row(placeCell(c, s), Cell{Text: fmt.Sprintf("%d/%d", s.NA, s.NB)},
			Cell{Text: sentence.Quantity(float64(s.MeanA), means)}, Cell{Text: sentence.Quantity(float64(s.MeanB), means)},
			Cell{Text: SignedPercent(float64(s.Diff), places)}, Cell{Text: SignedPercent(float64(s.Lower), places)}, Cell{Text: SignedPercent(float64(s.Upper), places)},
			Cell{Text: sentence.Winner(c, s.Verdict), Tone: verdictTone(s.Verdict)}, Cell{Text: more})
	}
	return t
}

// headWidth is what the head of a side's column may take, less where the axis
// needs room.
func headWidth(c *analysis.Comparison) int {
	if axisHead(c) != "W" {
		return 9
	}
	return 13
}

// meanHeads name the sides' columns by side and unit, or by their letters where
// one would be too long.
func meanHeads(c *analysis.Comparison) (a, b string) {
	unit := " " + c.Unit
	if c.Per != "" || c.Unit == "" {
		unit = ""
	}
	if a, b = c.A+unit, c.B+unit; max(uniseg.StringWidth(a), uniseg.StringWidth(b)) <= headWidth(c) {
		return a, b
	}
	if a, b = "a"+unit, "b"+unit; unit != "" && uniseg.StringWidth(a) <= headWidth(c) {
		return a, b
	}
	return "mean a", "mean b"
}

func axisHead(c *analysis.Comparison) string {
	switch c.At {
	case analysis.AtPackage:
		return "package W"
	case analysis.AtSystem:
		return "system W"
	}
	return "W"
}

// placeCell is a setting, or measured watts in line with each other.
func placeCell(c *analysis.Comparison, s analysis.SettingComparison) Cell {
	return Cell{Text: strings.TrimSuffix(sentence.Place(c, s.SettingW, s.Setting), " W")}
}

// compareDecimals are the decimals of the columns of means, the same for both
// sides, and of differences.
func compareDecimals(c *analysis.Comparison) (means, diff int) {
	var values, uncertainties []float64
	for _, s := range c.Settings {
		half := halfWidth(s.Lower, s.Upper) / math.Sqrt2 // of one side, were both alike
		for _, mean := range []analysis.Number{s.MeanA, s.MeanB} {
			values = append(values, float64(mean))
			uncertainties = append(uncertainties, float64(mean)*half)
		}
		diff = max(diff, sentence.PercentPlaces(s.Lower, s.Upper))
	}
	return columnDecimals(values, uncertainties, 6), diff
}

func verdictTone(v analysis.Verdict) Tone {
	switch v {
	case analysis.VerdictA, analysis.VerdictB:
		return Good
	case analysis.VerdictUnclear:
		return Doubtful
	}
	return Plain
}
