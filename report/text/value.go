package text

import (
	"io"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/table"
)

// Value writes what the dearer of two devices buys: its gain at each setting, for
// each 100 of the price difference, and the result for the price.
func Value(w io.Writer, r analysis.ValueResult, o Options) error {
	p := &Printer{Out: w, Options: o}
	for i := range r.Values {
		v := &r.Values[i]
		if i > 0 {
			p.Line("")
		}
		p.Table(table.Value(r.Currency, v))
		p.sentences(sentence.Value(r.Currency, v))
	}
	p.notes("note", r.Notes)
	return p.Err
}
