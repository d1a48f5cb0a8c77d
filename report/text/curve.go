package text

import (
	"fmt"
	"io"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
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
	p.say("%s, %s", sentence.Group(g.Workload, g.Device, g.Supply, g.Variant), sentence.CurveMetric(r))
	p.table(curveTable(r, g))
	p.sentences(sentence.Curve(g))
	p.offTrend(g.Departures)
	p.notes("note", g.Notes)
}

func curveTable(r *analysis.CurveResult, g *analysis.CurveGroup) *Table {
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "runs", Right: true}, {Head: strings.TrimSpace("mean " + r.Unit), Right: true}, {Head: Fixed(100*r.Confidence, 0) + " % from", Right: true},
		{Head: "to", Right: true}, {Head: "package W", Point: true, Optional: true}, {Head: "system W", Point: true, Optional: true},
		{Head: perWattHead(r, g), Point: true, Optional: true},
	}}
	values, halves := make([]float64, len(g.Points)), make([]float64, len(g.Points))
	for i, x := range g.Points {
		values[i], halves[i] = float64(x.Mean), halfWidth(x.Lower, x.Upper)
	}
	places := columnDecimals(values, halves, 3)
	for _, x := range g.Points {
		t.Row(settingCell(x.SettingW, x.Setting), Cell{Text: fmt.Sprint(x.N)}, Cell{Text: sentence.Quantity(float64(x.Mean), places)},
			Cell{Text: sentence.Quantity(float64(x.Lower), places)}, Cell{Text: sentence.Quantity(float64(x.Upper), places)},
			known(x.PackageW), known(x.SystemW), known(perWatt(r, g, x)))
	}
	return t
}

// known is a number of three digits, empty where it is not known.
func known(n analysis.Number) Cell {
	if !n.Known() {
		return Cell{}
	}
	return Cell{Text: Significant(float64(n))}
}

// perWattHead and perWatt go by the watts that the efficiency goes by. Where less
// is better the product says what the quotient does not: seconds times watts are
// the joules of a job.
func perWattHead(r *analysis.CurveResult, g *analysis.CurveGroup) string {
	kind := map[string]string{analysis.ByPackage: "package", analysis.BySystem: "system"}[g.Efficiency.By]
	if kind == "" {
		kind = "set"
	}
	switch {
	case r.Better != "lower":
		return "per " + kind + " W"
	case r.Unit == "s":
		return kind + " J"
	}
	return "x " + kind + " W"
}

func perWatt(r *analysis.CurveResult, g *analysis.CurveGroup, x analysis.CurvePoint) analysis.Number {
	quotient := x.PerSettingW
	switch g.Efficiency.By {
	case analysis.ByPackage:
		quotient = x.PerPackageW
	case analysis.BySystem:
		quotient = x.PerSystemW
	}
	if r.Better == "lower" {
		return x.Mean * x.Mean / quotient // the watts are mean/quotient
	}
	return quotient
}
