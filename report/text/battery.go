package text

import (
	"io"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/table"
)

// Battery writes what workloads draw on battery and how long it lasts.
func Battery(w io.Writer, r analysis.BatteryResult, o Options) error {
	p := &Printer{Out: w, Options: o}
	for i := range r.Groups {
		if i > 0 {
			p.Line("")
		}
		g := &r.Groups[i]
		p.Table(table.Battery(&r, g))
		p.sentences(sentence.Battery(g))
		p.Table(table.Gains(&r, g))
		p.notes("note", g.Notes)
	}
	p.notes("note", r.Notes)
	return p.Err
}
