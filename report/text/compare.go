package text

import (
	"io"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/table"
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
	p.table(table.Compare(c))
	p.sentences(sentence.Compare(c))
	p.notes("besides", c.Confounders)
	p.notes("note", c.Notes)
}
