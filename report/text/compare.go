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
	p := &Printer{Out: w, Options: o}
	for i := range r.Comparisons {
		if i > 0 {
			p.Line("")
		}
		c := &r.Comparisons[i]
		p.Table(table.Compare(c))
		p.sentences(sentence.Compare(c))
		p.notes("besides", c.Confounders)
		p.notes("note", c.Notes)
	}
	if r.Across != nil {
		p.Line("")
		c := &r.Comparisons[0]
		p.Say(sentence.Across(c.A, c.B, *r.Across), "  ", Plain)
	}
	for _, a := range r.AcrossPairs {
		if r.Across == nil {
			p.Say(sentence.Common(a.Device, a.Supply, a.Variant)+": "+sentence.Across(a.A, a.B, a.Across), "  ", Plain)
		}
	}
	if sentence.Advises(&r) {
		p.Say(sentence.Advised, "  ", Plain)
	}
	p.notes("note", r.Notes)
	return p.Err
}
