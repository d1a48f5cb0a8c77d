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
	p := &Printer{Out: w, Options: o}
	for i := range r.Groups {
		if i > 0 {
			p.Line("")
		}
		g := &r.Groups[i]
		p.Table(table.Curve(&r, g))
		p.sentences(sentence.Curve(g))
		for _, d := range g.Departures {
			p.Say("Run "+sentence.Setting(d.SettingW, d.Setting)+" again, or look for what holds it down.", "  ", Plain)
		}
		p.notes("note", g.Notes)
	}
	p.notes("note", r.Notes)
	return p.Err
}
