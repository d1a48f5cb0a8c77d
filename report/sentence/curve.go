package sentence

import (
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
)

// CurveMetric is what a curve shows, with its unit and direction.
func CurveMetric(r *analysis.CurveResult) string {
	return Joined(MetricWords(r.Metric, r.Unit), r.Better+" is better")
}

// onlySetting tells whether there is but one, of which nothing is said by calling it enough.
func onlySetting(g *analysis.CurveGroup) bool { return len(g.Points) == 1 && len(g.Departures) == 0 }

// Curve says which settings a device follows, where it gives most per watt, how
// much is enough, and what does not fit the trend.
func Curve(g *analysis.CurveGroup) []Sentence {
	var l list
	l.effective(g)
	l.efficiency(efficiencyOf(g))
	if text := Enough(g); text != "" && !onlySetting(g) {
		l.tell(Plain, text)
	}
	if g.KneeW.Known() && g.KneeSignificant {
		l.say("The curve bends most at %s W: above it each watt gives less.", Watts(float64(g.KneeW)))
	}
	for _, d := range g.Departures {
		l.tell(Doubtful, dip(Setting(d.SettingW, d.Setting), d.Change))
	}
	l.flagged(g.Flagged)
	return l
}

// Most says what the best mean result is, and from which setting on none can be told from
// it. It is empty where the best mean has no interval.
func Most(r *analysis.CurveResult, g *analysis.CurveGroup) Sentence {
	b := &g.Best
	value := meanAt(r, g, b.AtW, b.At)
	if value == "" {
		return Sentence{}
	}
	text := fmt.Sprintf("The best result is %s, at %s", value, Setting(b.AtW, b.At))
	if from, to := Setting(b.FromW, b.From), Setting(b.ToW, b.To); from != to {
		text += "; from " + from + upTo(g) + " no setting can be told from it"
	}
	return Sentence{Plain, text + "."}
}

// ToSet says in short which settings give most per watt, enough, and the best
// result, or the stretch that cannot be told from it, with the result there. It is
// empty where none of these is known, or where only one setting was tested.
func ToSet(r *analysis.CurveResult, g *analysis.CurveGroup) string {
	if len(g.Points) < 2 {
		return ""
	}
	var parts []string
	e := efficiencyOf(g)
	if peak := Peak(e); peak != "" {
		part := "most efficient, by " + kindOfWatts[e.By] + ", is " + peak
		if from, to := Setting(e.FromW, e.From), Setting(e.ToW, e.To); from != to {
			part += ", and " + from + " to " + to + " are about as good"
		}
		parts = append(parts, part)
	}
	if enoughTold(g) {
		parts = append(parts, strings.TrimSuffix(Enough(g), "."))
	}
	if text := best(r, g); text != "" {
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		return ""
	}
	return Capital(strings.Join(parts, "; ")) + "."
}

// best says from which setting on the result is the best, as far as it can be told, and
// the result there.
func best(r *analysis.CurveResult, g *analysis.CurveGroup) string {
	b := &g.Best
	value := meanAt(r, g, b.FromW, b.From)
	from := Setting(b.FromW, b.From)
	switch {
	case value == "":
		return ""
	case from == Setting(b.ToW, b.To):
		return from + " for the best result, " + value
	}
	return "from " + from + upTo(g) + " no setting can be told from the best, at " + from + " " + value
}

// upTo is where the settings end that cannot be told from the best: " on" where none is higher.
func upTo(g *analysis.CurveGroup) string {
	if b := &g.Best; !g.Points[len(g.Points)-1].Is(b.ToW, b.To) {
		return " to " + Setting(b.ToW, b.To)
	}
	return " on"
}

// efficiencyOf is the efficiency that counts: on battery that of the whole device, which
// empties it, where its watts are known.
func efficiencyOf(g *analysis.CurveGroup) *analysis.Efficiency {
	if g.Supply == "battery" {
		for i := range g.Efficiencies {
			if g.Efficiencies[i].By == analysis.BySystem {
				return &g.Efficiencies[i]
			}
		}
	}
	return &g.Efficiency
}

// meanAt is the mean result at a setting with its interval, empty where it has none.
func meanAt(r *analysis.CurveResult, g *analysis.CurveGroup, watts analysis.Number, name string) string {
	at := slices.IndexFunc(g.Points, func(p analysis.CurvePoint) bool {
		return p.Is(watts, name)
	})
	if at < 0 || !g.Points[at].Lower.Known() || !g.Points[at].Upper.Known() {
		return ""
	}
	p := g.Points[at]
	return Measured(p.Mean, p.Lower, p.Upper, r.Unit)
}

// Peak is the setting that gives most per watt, marked where none lower was
// tested: below it there may be more.
func Peak(e *analysis.Efficiency) string {
	peak := Setting(e.PeakW, e.Peak)
	if e.PeakW.Known() && len(e.Points) > 1 && e.Points[0].SettingW == e.PeakW {
		peak += " (the lowest tested)"
	}
	return peak
}

// Efficient says by each kind of watts where the result per watt is best.
func Efficient(g *analysis.CurveGroup) []Sentence {
	var l list
	for i := range g.Efficiencies {
		l.efficiency(&g.Efficiencies[i])
	}
	return l
}

// Followed says which settings a device follows, and nothing else of its curve.
func Followed(g *analysis.CurveGroup) []Sentence {
	var l list
	l.effective(g)
	return l
}

// effective says which settings the device follows.
func (l *list) effective(g *analysis.CurveGroup) {
	e := g.Effective
	if !e.FromW.Known() || !e.ToW.Known() {
		return
	}
	source := ""
	if e.Source == analysis.RangeFromResults {
		source = ", judging by results alone"
	}
	if !e.FloorW.Known() && !e.CapW.Known() {
		if e.Source != "" {
			l.say("It follows every setting tested, from %s W to %s W%s.", Watts(float64(e.FromW)), Watts(float64(e.ToW)), source)
		}
		return
	}
	var beyond []string
	if e.FloorW.Known() {
		beyond = append(beyond, "set lower, it acts as if set to "+Significant(float64(e.FloorW))+" W")
	}
	if e.CapW.Known() {
		beyond = append(beyond, "set higher, it acts as if set to "+Significant(float64(e.CapW))+" W")
	}
	l.say("It follows settings from %s W to %s W; %s%s.", Watts(float64(e.FromW)), Watts(float64(e.ToW)), strings.Join(beyond, "; "), source)
}

// Denominator says by which watts a result is divided.
var Denominator = map[string]string{analysis.ByPackage: "package watt", analysis.BySystem: "watt of the whole device", analysis.BySetting: "set watt"}

// kindOfWatts names watts of one kind.
var kindOfWatts = map[string]string{analysis.ByPackage: "package watts", analysis.BySystem: "watts of the whole device", analysis.BySetting: "set watts"}

// efficiency says where the result per watt is best.
func (l *list) efficiency(e *analysis.Efficiency) {
	peak := Peak(e)
	if peak == "" || len(e.Points) == 1 {
		return
	}
	plateau := "no other setting comes near"
	if from, to := Setting(e.FromW, e.From), Setting(e.ToW, e.To); from != to {
		plateau = from + " to " + to + " are about as good"
	}
	l.say("Most efficient, by %s, is %s; %s.", kindOfWatts[e.By], peak, plateau)
}
