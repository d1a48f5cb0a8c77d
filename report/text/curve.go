package text

import (
	"io"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/table"
)

// Curve writes how a result scales with the setting: a table and sentences for
// each group.
func Curve(w io.Writer, r analysis.CurveResult, o Options) error {
	p := &page{w: w, o: o}
	for i := range r.Groups {
		if i > 0 {
			p.gap()
		}
		p.curveGroup(&r, &r.Groups[i])
	}
	p.notes("note", r.Notes)
	return p.err
}

func (p *page) curveGroup(r *analysis.CurveResult, g *analysis.CurveGroup) {
	p.table(table.Curve(r, g))
	p.sentences(sentence.Curve(g))
	p.offTrend(g.Departures)
	p.notes("note", g.Notes)
}
