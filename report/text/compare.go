package text

import (
	"fmt"
	"io"
	"math"

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
			p.say("%s", sentence.Across(a.A, a.B, a.Across))
		}
	}
	p.list("note", r.Notes)
	return p.err
}

func (p *page) comparison(c *analysis.Comparison) {
	p.tell(Plain, sentence.CompareTitle(c))
	p.table(compareTable(c))
	p.sentences(sentence.Compare(c))
	p.list("besides", c.Confounders)
	p.list("note", c.Notes)
}

func compareTable(c *analysis.Comparison) *Table {
	confidence := Fixed(100*c.Confidence, 0)
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "runs", Right: true}, {Head: "mean a", Right: true}, {Head: "mean b", Right: true},
		{Head: "a/b %", Right: true}, {Head: confidence + " % from", Right: true}, {Head: "to", Right: true},
		{Head: "ahead", Least: 7}, {Head: "more runs", Right: true, Optional: true},
	}}
	meanA, meanB, places := compareDecimals(c)
	for _, s := range c.Settings {
		more := ""
		if s.MoreRuns != nil && *s.MoreRuns > 0 {
			more = fmt.Sprint(*s.MoreRuns)
		}
		t.Row(settingCell(s.SettingW, s.Setting), Cell{Text: fmt.Sprintf("%d/%d", s.NA, s.NB)},
			Cell{Text: Fixed(float64(s.MeanA), meanA)}, Cell{Text: Fixed(float64(s.MeanB), meanB)},
			Cell{Text: SignedPercent(float64(s.Diff), places)}, Cell{Text: SignedPercent(float64(s.Lower), places)}, Cell{Text: SignedPercent(float64(s.Upper), places)},
			Cell{Text: sentence.Winner(c, s.Verdict), Tone: verdictTone(s.Verdict)}, Cell{Text: more})
	}
	return t
}

// compareDecimals are the decimals of the columns of means and of differences.
func compareDecimals(c *analysis.Comparison) (meanA, meanB, diff int) {
	n := len(c.Settings)
	a, b, ua, ub := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	most := 0
	for i, s := range c.Settings {
		a[i], b[i] = float64(s.MeanA), float64(s.MeanB)
		ua[i] = a[i] * float64(c.NoiseA) / math.Sqrt(float64(s.NA))
		ub[i] = b[i] * float64(c.NoiseB) / math.Sqrt(float64(s.NB))
		most = max(most, sentence.PercentPlaces(s.Lower, s.Upper))
	}
	return columnDecimals(a, ua, 3), columnDecimals(b, ub, 3), most
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
