package text

import (
	"fmt"
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
	p.leftOut(r.LeftOut)
	p.notes("note", r.Notes)
	return p.Err
}

// shownLeftOut is how many runs a terminal names; JSON has them all.
const shownLeftOut = 10

// leftOut names the runs on battery whose power does not count.
func (p *Printer) leftOut(list []analysis.LeftOutRun) {
	for _, x := range list[:min(shownLeftOut, len(list))] {
		p.Say("left out: "+sentence.LeftOut(x), "  ", Plain)
	}
	if more := len(list) - shownLeftOut; more > 0 {
		p.Say(fmt.Sprintf("left out: %d more; --json lists all of them", more), "  ", Plain)
	}
}
