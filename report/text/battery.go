package text

import (
	"io"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/table"
)

// Battery writes what workloads draw on battery and how long it lasts.
func Battery(w io.Writer, r analysis.BatteryResult, o Options) error {
	p := &page{w: w, o: o}
	for i := range r.Groups {
		if i > 0 {
			p.gap()
		}
		p.batteryGroup(&r, &r.Groups[i])
	}
	p.notes("note", r.Notes)
	return p.err
}

func (p *page) batteryGroup(r *analysis.BatteryResult, g *analysis.BatteryGroup) {
	p.table(table.Battery(r, g))
	p.sentences(sentence.Battery(g))
	p.table(table.Gains(r, g))
	p.notes("note", g.Notes)
}
