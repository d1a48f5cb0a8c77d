package sentence

import (
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/run"
)

// BatteryTitle names a group with what its battery holds.
func BatteryTitle(r *analysis.BatteryResult, g *analysis.BatteryGroup) string {
	title := Group(g.Workload, g.Device, g.Variant)
	if g.FullEnergyWh.Known() {
		title += ", battery of " + Significant(float64(g.FullEnergyWh)) + " Wh when full"
		if g.Health.Known() {
			title += " (" + Fixed(100*float64(g.Health), 0) + " % of its design)"
		}
	}
	if r.Reserve > 0 {
		title += ", down to a reserve of " + Percent(r.Reserve)
	}
	return title
}

// Battery says what the rest of the device draws, how measured runtimes compare
// with predicted ones, what other variants gain, and which runs need a look.
func Battery(g *analysis.BatteryGroup) []Sentence {
	var l list
	l.overhead(g)
	for _, m := range g.Measured {
		l.measured(m)
	}
	byVariant(g.Gains, func(other string, list []analysis.RuntimeGain) { l.gains(g, other, list) })
	l.flagged(g.Flagged)
	return l
}

// LeftOut says which run on battery has no power that counts, and why.
func LeftOut(x analysis.LeftOutRun) string { return "run " + run.ShortID(x.Run) + ", " + x.Reason }

// Runtime says how long the battery lasts, to its end or down to the reserve, at the settings
// that people would use: the most efficient, one that is surely enough, and the highest; at
// the lowest and the highest where no curve tells. curve may be nil.
func Runtime(r *analysis.BatteryResult, g *analysis.BatteryGroup, curve *analysis.CurveGroup) []Sentence {
	known := slices.DeleteFunc(slices.Clone(g.Points), func(p analysis.BatteryPoint) bool { return !p.RuntimeH.Known() })
	if len(known) == 0 {
		return nil
	}
	last := len(known) - 1
	why := map[int]string{last: ""} // by the place of the setting
	use := func(watts analysis.Number, name, reason string) {
		i := slices.IndexFunc(known, func(p analysis.BatteryPoint) bool { return p.Is(watts, name) })
		if _, there := why[i]; i >= 0 && (!there || i == last) {
			why[i] = " (" + reason + ")"
		}
	}
	if curve != nil {
		if e := efficiencyOf(curve); len(e.Points) > 1 {
			use(e.PeakW, e.Peak, "most efficient")
		}
		if enough := &curve.Enough; enough.ToW.Known() && enoughTold(curve) {
			use(enough.ToW, "", "enough for "+Fixed(100*enough.Share, 0)+" % of the best")
		}
	}
	if len(why) == 1 {
		why[0] = ""
	}
	var at []string
	for i, p := range known {
		if reason, used := why[i]; used {
			at = append(at, ClockWithin(p.RuntimeH, p.RuntimeLowerH, p.RuntimeUpperH)+" at "+Setting(p.SettingW, p.Setting)+reason)
		}
	}
	text := "A full battery lasts " + listed(at)
	if r.Reserve > 0 {
		text += ", down to " + Percent(r.Reserve)
	}
	return []Sentence{{Good, text + "."}}
}

// measured sets a measured runtime beside its prediction.
func (l *list) measured(m analysis.MeasuredRuntime) {
	down := " down to the reserve"
	if m.EndCharge.Known() {
		down = " down to " + Fixed(100*float64(m.EndCharge), 0) + " %"
	}
	if m.StartCharge.Known() {
		down = " from " + Fixed(100*float64(m.StartCharge), 0) + " %" + down
	}
	if m.SwitchedOff {
		down += ", where the recording broke off"
	}
	text := fmt.Sprintf("Measured: run %s at %s lasted %s%s", run.ShortID(m.Run), Setting(m.SettingW, m.Setting), Clock(m.RuntimeH), down)
	if !m.PredictedH.Known() {
		l.say("%s.", text)
		return
	}
	text += "; the power at this setting predicts " + ClockWithin(m.PredictedH, m.PredictedLowerH, m.PredictedUpperH)
	if m.PredictedLowerH.Known() && (m.RuntimeH < m.PredictedLowerH || m.RuntimeH > m.PredictedUpperH) {
		l.tell(Doubtful, text+": they do not agree, so the battery does not hold what was assumed, or the power was another one.")
		return
	}
	l.say("%s.", text)
}

// overhead says what the rest of the device draws.
func (l *list) overhead(g *analysis.BatteryGroup) {
	o := g.Overhead
	if !o.InterceptW.Known() {
		return
	}
	kind := map[string]string{analysis.ByPackage: "watt of the package", analysis.BySetting: "watt set"}[o.Against]
	l.say("The rest of the device draws %s, and each %s costs %s at the battery.", Measured(o.InterceptW, o.InterceptLowerW, o.InterceptUpperW, "W"),
		kind, Measured(o.Slope, o.SlopeLower, o.SlopeUpper, "W"))
}

// gains says how much longer the group lasts than another variant. Of two
// variants the one that lasts longer says it.
func (l *list) gains(g *analysis.BatteryGroup, other string, list []analysis.RuntimeGain) {
	var told []analysis.RuntimeGain
	var open []string
	sum := 0.0
	for _, x := range list {
		sum += float64(x.Minutes)
		if x.Significant {
			told = append(told, x)
		} else {
			open = append(open, Setting(x.SettingW, x.Setting))
		}
	}
	if sum < 0 || sum == 0 && g.Variant > other {
		return
	}
	name := func(variant string) string {
		if variant == "" {
			return "no variant"
		}
		return variant
	}
	if len(told) == 0 {
		l.tell(Doubtful, fmt.Sprintf("It cannot be told whether the battery lasts longer with %s than with %s, at any setting.", name(g.Variant), name(other)))
		return
	}
	minutes := func(x analysis.RuntimeGain) string {
		return "by " + ClockWithin(x.Minutes/60, x.Lower/60, x.Upper/60) + " at " + Setting(x.SettingW, x.Setting)
	}
	text := fmt.Sprintf("With %s the battery lasts longer than with %s, %s", name(g.Variant), name(other), minutes(told[0]))
	if len(told) > 1 {
		text += " and " + minutes(told[len(told)-1])
	}
	if len(open) > 0 {
		text += "; it cannot be told at " + strings.Join(open, ", ")
	}
	l.tell(Good, text+".")
}

// byVariant calls f for each other variant with the gains over it, in their order.
func byVariant(gains []analysis.RuntimeGain, f func(other string, list []analysis.RuntimeGain)) {
	for len(gains) > 0 {
		n := slices.IndexFunc(gains, func(x analysis.RuntimeGain) bool { return x.Variant != gains[0].Variant })
		if n < 0 {
			n = len(gains)
		}
		f(gains[0].Variant, gains[:n])
		gains = gains[n:]
	}
}
