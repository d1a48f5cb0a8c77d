package text

import (
	"fmt"
	"io"
	"strings"

	"sweepd/analysis"
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
	p.list("note", r.Notes)
	return p.err
}

func (p *page) curveGroup(r *analysis.CurveResult, g *analysis.CurveGroup) {
	metric := r.Metric
	if r.Unit != "" {
		metric += " in " + r.Unit
	}
	p.say("%s, %s, %s is better", groupTitle(g.Workload, g.Device, g.Supply, g.Variant), metric, r.Better)
	p.table(curveTable(r, g))
	p.effective(g)
	p.efficiency(g)
	if g.Enough.AtW.Known() {
		p.say("%s W is enough for %s %% of the best result.", Watts(float64(g.Enough.AtW)), Fixed(100*g.Enough.Share, 0))
	}
	if g.KneeW.Known() {
		p.say("The curve bends most at %s W.", Watts(float64(g.KneeW)))
	}
	p.marginal(g)
	for _, d := range g.Departures {
		p.tell(Doubtful, fmt.Sprintf("At %s the result is off the trend by %s %% (p %s): run it again, or look for the cause.",
			settingText(d.SettingW, d.Setting), SignedPercent(float64(d.Change), 1), Fixed(float64(d.PAdjusted), 3)))
	}
	if len(g.Flagged) > 0 {
		p.say("Unlike their repeats, and counted all the same: %s.", flaggedText(g.Flagged))
	}
	p.list("note", g.Notes)
}

// groupTitle joins what names a group.
func groupTitle(workload string, others ...string) string {
	parts := []string{workload}
	for _, s := range others {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ")
}

func curveTable(r *analysis.CurveResult, g *analysis.CurveGroup) *Table {
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "runs", Right: true}, {Head: "mean", Right: true}, {Head: Fixed(100*r.Confidence, 0) + " % from", Right: true},
		{Head: "to", Right: true}, {Head: "package W", Right: true, Optional: true}, {Head: "system W", Right: true, Optional: true},
		{Head: perWattHead(g), Right: true, Optional: true},
	}}
	values, halves := make([]float64, len(g.Points)), make([]float64, len(g.Points))
	for i, x := range g.Points {
		values[i], halves[i] = float64(x.Mean), halfWidth(x.Lower, x.Upper)
	}
	places := columnDecimals(values, halves, 3)
	for _, x := range g.Points {
		t.Row(settingCell(x.SettingW, x.Setting), Cell{Text: fmt.Sprint(x.N)}, Cell{Text: Fixed(float64(x.Mean), places)},
			Cell{Text: Fixed(float64(x.Lower), places)}, Cell{Text: Fixed(float64(x.Upper), places)},
			known(x.PackageW), known(x.SystemW), known(perWatt(g, x)))
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

// perWattHead and perWatt go by the watts that the efficiency goes by.
func perWattHead(g *analysis.CurveGroup) string {
	switch g.Efficiency.By {
	case analysis.ByPackage:
		return "per package W"
	case analysis.BySystem:
		return "per system W"
	}
	return "per set W"
}

func perWatt(g *analysis.CurveGroup, x analysis.CurvePoint) analysis.Number {
	switch g.Efficiency.By {
	case analysis.ByPackage:
		return x.PerPackageW
	case analysis.BySystem:
		return x.PerSystemW
	}
	return x.PerSettingW
}

// effective says which settings the device follows.
func (p *page) effective(g *analysis.CurveGroup) {
	e := g.Effective
	if !e.FromW.Known() || !e.ToW.Known() {
		return
	}
	source := ""
	if e.Source == analysis.RangeFromResults {
		source = ", told from results alone"
	}
	if !e.FloorW.Known() && !e.CapW.Known() {
		if e.Source != "" {
			p.say("The device follows every setting tested, %s to %s W%s.", Watts(float64(e.FromW)), Watts(float64(e.ToW)), source)
		}
		return
	}
	var beyond []string
	if e.FloorW.Known() {
		beyond = append(beyond, "below it acts as if set to "+Significant(float64(e.FloorW))+" W")
	}
	if e.CapW.Known() {
		beyond = append(beyond, "above it acts as if set to "+Significant(float64(e.CapW))+" W")
	}
	p.tell(Doubtful, fmt.Sprintf("The device follows settings from %s to %s W; %s%s.", Watts(float64(e.FromW)), Watts(float64(e.ToW)), strings.Join(beyond, ", "), source))
}

// efficiency says where the result per watt is best.
func (p *page) efficiency(g *analysis.CurveGroup) {
	e := g.Efficiency
	peak := settingText(e.PeakW, e.Peak)
	if peak == "" {
		return
	}
	plateau := "no other setting comes near"
	if from, to := settingText(e.FromW, e.From), settingText(e.ToW, e.To); from != to {
		plateau = "as good, or less than 5 % worse, " + rangeText(from, to)
	}
	kind := map[string]string{analysis.ByPackage: "package watt", analysis.BySystem: "watt of the whole device", analysis.BySetting: "set watt"}[e.By]
	p.say("Most result per %s at %s; %s.", kind, peak, plateau)
}

// marginal names the last step up that buys anything that can be told from
// nothing.
func (p *page) marginal(g *analysis.CurveGroup) {
	for i := len(g.Marginal) - 1; i >= 0; i-- {
		m := g.Marginal[i]
		if !m.Told || m.PercentPerWatt <= 0 {
			continue
		}
		half := halfWidth(m.Lower, m.Upper)
		places := min(Decimals(float64(m.PercentPerWatt), half), 3)
		p.say("The last step that gains for certain is from %s to %s W: %s %% per watt%s.", Watts(float64(m.FromW)), Watts(float64(m.ToW)),
			Fixed(float64(m.PercentPerWatt), places), intervalText(m.Lower, m.Upper, places))
		return
	}
}
