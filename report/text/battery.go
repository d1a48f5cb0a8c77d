package text

import (
	"fmt"
	"io"

	"sweepd/analysis"
	"sweepd/report/sentence"
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
	p.tell(Plain, sentence.BatteryTitle(r, g))
	p.table(batteryTable(r, g))
	p.sentences(sentence.Battery(g))
	p.table(gainsTable(r, g))
	p.notes("note", g.Notes)
}

func batteryTable(r *analysis.BatteryResult, g *analysis.BatteryGroup) *Table {
	interval := Fixed(100*r.Confidence, 0) + " % from"
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "runs", Right: true}, {Head: "system W", Right: true}, {Head: interval, Right: true}, {Head: "to", Right: true},
		{Head: "runtime h", Right: true}, {Head: interval, Right: true}, {Head: "to", Right: true},
	}}
	n := len(g.Points)
	watts, wattHalves, hours, hourHalves := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i, x := range g.Points {
		watts[i], wattHalves[i] = float64(x.SystemW), halfWidth(x.Lower, x.Upper)
		hours[i], hourHalves[i] = float64(x.RuntimeH), halfWidth(x.RuntimeLowerH, x.RuntimeUpperH)
	}
	w, h := columnDecimals(watts, wattHalves, 2), columnDecimals(hours, hourHalves, 2)
	for _, x := range g.Points {
		t.Row(settingCell(x.SettingW, x.Setting), Cell{Text: fmt.Sprint(x.N)}, Cell{Text: Fixed(float64(x.SystemW), w)},
			Cell{Text: Fixed(float64(x.Lower), w)}, Cell{Text: Fixed(float64(x.Upper), w)}, Cell{Text: Fixed(float64(x.RuntimeH), h)},
			Cell{Text: Fixed(float64(x.RuntimeLowerH), h)}, Cell{Text: Fixed(float64(x.RuntimeUpperH), h)})
	}
	return t
}

// gainsTable is by how many minutes the group lasts longer than other variants.
func gainsTable(r *analysis.BatteryResult, g *analysis.BatteryGroup) *Table {
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "longer than", Least: 12}, {Head: "min", Right: true},
		{Head: Fixed(100*r.Confidence, 0) + " % from", Right: true}, {Head: "to", Right: true}, {Head: "more than noise"},
	}}
	n := len(g.Gains)
	minutes, halves := make([]float64, n), make([]float64, n)
	for i, x := range g.Gains {
		minutes[i], halves[i] = float64(x.Minutes), halfWidth(x.Lower, x.Upper)
	}
	places := columnDecimals(minutes, halves, 1)
	for _, x := range g.Gains {
		told, tone := "yes", Good
		if !x.Told {
			told, tone = "no", Doubtful
		}
		other := x.Variant
		if other == "" {
			other = "no variant"
		}
		t.Row(settingCell(x.SettingW, x.Setting), Cell{Text: other}, Cell{Text: Fixed(float64(x.Minutes), places)},
			Cell{Text: Fixed(float64(x.Lower), places)}, Cell{Text: Fixed(float64(x.Upper), places)}, Cell{Text: told, Tone: tone})
	}
	return t
}
