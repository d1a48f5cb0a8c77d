package text

import (
	"fmt"
	"io"
	"math"

	"sweepd/analysis"
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
	p.list("note", r.Notes)
	return p.err
}

func (p *page) batteryGroup(r *analysis.BatteryResult, g *analysis.BatteryGroup) {
	title := groupTitle(g.Workload, g.Device, g.Variant)
	if g.FullEnergyWh.Known() {
		title += ", battery of " + Significant(float64(g.FullEnergyWh)) + " Wh when full"
		if g.Health.Known() {
			title += " (" + Fixed(100*float64(g.Health), 0) + " % of its design)"
		}
	}
	if r.Reserve > 0 {
		title += ", down to a reserve of " + Fixed(100*r.Reserve, 0) + " %"
	}
	p.tell(Plain, title)
	p.table(batteryTable(r, g))
	p.overhead(g)
	for _, m := range g.Measured {
		p.say("Run %s at %s lasted %s h to the reserve; the prediction was %s h%s.", ShortID(m.Run), settingText(m.SettingW, m.Setting),
			Fixed(float64(m.RuntimeH), 2), Fixed(float64(m.PredictedH), 2), intervalText(m.PredictedLowerH, m.PredictedUpperH, 2))
	}
	for _, x := range g.Gains {
		p.gain(g, x)
	}
	if len(g.Flagged) > 0 {
		p.say("Unlike their repeats, and counted all the same: %s.", flaggedText(g.Flagged))
	}
	p.list("note", g.Notes)
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

// overhead says what the rest of the device draws.
func (p *page) overhead(g *analysis.BatteryGroup) {
	o := g.Overhead
	if !o.InterceptW.Known() {
		return
	}
	kind := map[string]string{analysis.ByPackage: "watt of the package", analysis.BySetting: "watt set"}[o.Against]
	i, s := halfWidth(o.InterceptLowerW, o.InterceptUpperW), halfWidth(o.SlopeLower, o.SlopeUpper)
	p.say("Besides, the device draws %s W%s, and each %s costs %s W%s at the battery.",
		WithUncertainty(float64(o.InterceptW), i), intervalText(o.InterceptLowerW, o.InterceptUpperW, Decimals(float64(o.InterceptW), i)),
		kind, WithUncertainty(float64(o.Slope), s), intervalText(o.SlopeLower, o.SlopeUpper, Decimals(float64(o.Slope), s)))
}

// gain says how much longer the group lasts than another variant.
func (p *page) gain(g *analysis.BatteryGroup, x analysis.RuntimeGain) {
	name := func(variant string) string {
		if variant == "" {
			return "no variant"
		}
		return variant
	}
	where := settingText(x.SettingW, x.Setting)
	half := halfWidth(x.Lower, x.Upper)
	places := min(Decimals(float64(x.Minutes), half), 1)
	if !x.Told {
		p.say("At %s it cannot be told whether %s lasts longer than %s: %s min%s.", where, name(g.Variant), name(x.Variant),
			Fixed(float64(x.Minutes), places), intervalText(x.Lower, x.Upper, places))
		return
	}
	longer, lower, upper := "longer", x.Lower, x.Upper
	if x.Minutes < 0 {
		longer, lower, upper = "less", -x.Upper, -x.Lower
	}
	p.say("At %s %s lasts %s min%s %s than %s.", where, name(g.Variant), Fixed(math.Abs(float64(x.Minutes)), places),
		intervalText(lower, upper, places), longer, name(x.Variant))
}
