package sentence

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sweepd/analysis"
)

// CompareTitle says what is compared with what, whose result is 100 %, and what both
// sides share.
func CompareTitle(c *analysis.Comparison) string {
	at := ""
	if c.At != analysis.AtSetting {
		at = "at equal " + c.At + " watts"
	}
	sides := fmt.Sprintf("%s: %s (a) against %s (b = 100 %%)", c.Workload, Side(c.A), Side(c.B))
	return Joined(sides, OrEmpty(c.Device), fedBy(OrEmpty(c.Supply)), OrEmpty(c.Variant), CompareMetric(c), at)
}

// Against names the sides of a comparison: every difference is that of the first, as a
// share of the second.
func Against(a, b string) string {
	return fmt.Sprintf("%s against %s (%s = 100 %%)", Side(a), Side(b), Side(b))
}

// fedBy says what feeds the device, nothing where that is not known.
func fedBy(supply string) string {
	if supply == "" {
		return ""
	}
	return "on " + supply
}

// CompareMetric is what is compared in words, with its unit and direction.
func CompareMetric(c *analysis.Comparison) string {
	metric := MetricName(c.Metric)
	if c.Inverted {
		metric = "1/(" + metric + ")"
	}
	if c.Per != "" {
		return metric + " per " + denominatorOf[c.Per] + ", " + c.Better + " is better"
	}
	return Joined(metric, unitWord(c.Unit), c.Better+" is better")
}

// denominatorOf names the watts that results are divided by.
var denominatorOf = map[string]string{
	analysis.AtPackage: Denominator[analysis.ByPackage], analysis.AtSystem: Denominator[analysis.BySystem], analysis.AtSetting: Denominator[analysis.BySetting],
}

// Compare says where the lead changes, who is ahead at which settings or throughout, how
// many runs it would take to tell the rest, which settings count in none of this, and which
// runs need a look.
func Compare(c *analysis.Comparison) []Sentence {
	kept := c.Kept()
	l := list(Settled(&kept))
	_, throughout := Throughout(&kept)
	for _, b := range kept.Bands {
		if b.Verdict == analysis.VerdictUnclear {
			l = append(l, unclear(&kept, b, throughout))
		}
	}
	if len(l) > 0 {
		l.notKept(&kept)
	}
	l.flagged(c.Flagged)
	return l
}

// Settled says what a comparison settles. Each quantity is said once: where the curves cross,
// that comes first and the mean over the settings, which hides it, is not said; a difference
// that all settings share is said as one; else it is said where which side is ahead, and
// behind the mean if only lone settings between open ones say so.
func Settled(c *analysis.Comparison) []Sentence {
	var l list
	if len(c.Crossings) > 0 {
		l = append(l, Crossings(c))
	} else if s, ok := Throughout(c); ok {
		return []Sentence{s}
	}
	decided, alone := 0, 0
	for i, b := range c.Bands {
		if b.Verdict == analysis.VerdictUnclear {
			continue
		}
		decided++
		if standsOut(c.Bands, i) {
			alone++
		}
		l = append(l, Band(c, b))
	}
	if decided > 0 && alone == decided && len(c.Crossings) == 0 && c.Overall != nil {
		l = append(list{Overall(c)}, l...)
		for i := 1; i < len(l); i++ {
			l[i].Text = "By itself one setting stands out: " + strings.ToLower(l[i].Text[:1]) + l[i].Text[1:]
		}
	}
	if len(l) == 0 && c.Overall != nil {
		l = append(l, Overall(c))
	}
	return l
}

// standsOut tells whether a band is of one setting and has no decided neighbour, and at an
// end of more than two settings, whether the other side is ahead nowhere.
func standsOut(bands []analysis.Band, i int) bool {
	b := bands[i]
	undecided := func(k int) bool { return k < 0 || k >= len(bands) || bands[k].Verdict == analysis.VerdictUnclear }
	if severalSettings(b) || len(bands) == 1 || !undecided(i-1) || !undecided(i+1) {
		return false
	}
	if i > 0 && i < len(bands)-1 {
		return true
	}
	neighbour := max(i-1, 1-i)
	return severalSettings(bands[neighbour]) && !slices.ContainsFunc(bands, func(x analysis.Band) bool { return x.Verdict != b.Verdict && leads(x.Verdict) })
}

// Throughout says by how much a side is ahead, or that both are level, at all settings: where
// every setting says so by itself, or where the mean does and no setting contradicts it.
func Throughout(c *analysis.Comparison) (Sentence, bool) {
	o := c.Overall
	members := counted(c)
	if o == nil || o.Verdict == analysis.VerdictUnclear || len(members) < 2 || len(c.Crossings) > 0 {
		return Sentence{}, false
	}
	sure, constant := 0, true
	for _, s := range members {
		switch s.Verdict {
		case o.Verdict:
			sure++
		case analysis.VerdictUnclear:
			constant = constant && s.Lower.Known() && s.Lower <= o.Diff && o.Diff <= s.Upper
		default:
			return Sentence{}, false
		}
		constant = constant && !(o.Diff < s.Lower || o.Diff > s.Upper)
	}
	first, last := members[0], members[len(members)-1]
	where := Capital(Range(Place(c, first.SettingW, first.Setting), Place(c, last.SettingW, last.Setting)))
	level := o.Verdict == analysis.VerdictTie
	tone := Good
	if level {
		tone = Plain
	}
	said := func(how, end string) (Sentence, bool) {
		text := where + how
		if level {
			return Sentence{tone, text + " the two are level within " + Margin(c.Margin) + " %: " + signed(o.Diff, o.Lower, o.Upper) + end + "."}, true
		}
		return Sentence{tone, text + " " + Lead(c, o.Diff, o.Lower, o.Upper) + end + "."}, true
	}
	switch {
	case sure == len(members) && level:
		return said("", "")
	case sure == len(members):
		return said("", spread(c, members))
	case !constant:
		return Sentence{}, false
	case level:
		where = "On average " + Range(Place(c, first.SettingW, first.Setting), Place(c, last.SettingW, last.Setting))
		return said("", "")
	case sure == 0:
		return said(", throughout,", "; too few runs to say where")
	}
	return said(", throughout,", "; single settings prove it "+strings.Join(surely(c, o.Verdict), ", "))
}

// counted are the settings of a comparison that both sides have and that count.
func counted(c *analysis.Comparison) []analysis.SettingComparison {
	var members []analysis.SettingComparison
	for _, s := range c.Settings {
		if s.Shared() && (s.Counts() || !c.Part) {
			members = append(members, s)
		}
	}
	return members
}

// surely are the stretches of settings with a verdict.
func surely(c *analysis.Comparison, v analysis.Verdict) []string {
	var where []string
	for _, b := range c.Bands {
		if b.Verdict == v {
			where = append(where, Range(Place(c, b.FromW, b.From), Place(c, b.ToW, b.To)))
		}
	}
	return where
}

// notKept names the settings that count in no sentence.
func (l *list) notKept(c *analysis.Comparison) {
	if !c.Part {
		return
	}
	var left []string
	for _, s := range c.Settings {
		if s.Shared() && !s.Counts() {
			left = append(left, Place(c, s.SettingW, s.Setting))
		}
	}
	if len(left) > 0 {
		l.say("Not counted in this: %s, where a side does not keep to the setting.", listed(left))
	}
}

// Crossings says where the lead changes, and to whom if that is but once; there must be a
// place.
func Crossings(c *analysis.Comparison) Sentence {
	places := make([]string, len(c.Crossings))
	for i, x := range c.Crossings {
		places[i] = Crossing(x)
	}
	text := "The lead changes at " + Listed(places, len(places))
	if len(places) == 1 {
		below, above := analysis.VerdictUnclear, analysis.VerdictUnclear
		for _, b := range c.Bands {
			switch {
			case b.Verdict != analysis.VerdictA && b.Verdict != analysis.VerdictB:
			case b.ToW <= c.Crossings[0].AtW:
				below = b.Verdict
			case b.FromW >= c.Crossings[0].AtW && above == analysis.VerdictUnclear:
				above = b.Verdict
			}
		}
		if below != analysis.VerdictUnclear && above != analysis.VerdictUnclear && below != above {
			text += ": below it " + actor(Winner(c, below)) + " is ahead, above it " + actor(Winner(c, above))
		}
	}
	return Sentence{Good, text + "."}
}

// Crossing is where a lead changes, with its interval.
func Crossing(x analysis.Crossing) string {
	places := 1
	if half := HalfWidth(x.LowerW, x.UpperW); half < 0.1 {
		places = 2
	}
	return Fixed(float64(x.AtW), places) + " W" + Interval(x.LowerW, x.UpperW, places)
}

// Band says who is ahead over a stretch of settings, or how many runs it would
// take to tell.
func Band(c *analysis.Comparison, b analysis.Band) Sentence {
	where := placed(c, b)
	switch b.Verdict {
	case analysis.VerdictA, analysis.VerdictB:
		return Sentence{Good, where + " " + Lead(c, b.Diff, b.Lower, b.Upper) + spread(c, bandSettings(c, b)) + "."}
	case analysis.VerdictTie:
		return Sentence{Plain, fmt.Sprintf("%s the two are level within %s %%: %s.", where, Margin(c.Margin), signed(b.Diff, b.Lower, b.Upper))}
	}
	return unclear(c, b, false)
}

// placed says where a band is.
func placed(c *analysis.Comparison, b analysis.Band) string {
	return Capital(Range(Place(c, b.FromW, b.From), Place(c, b.ToW, b.To)))
}

// unclear says how many runs it would take to tell who is ahead over a stretch of settings,
// or that each of them shows what is known of all.
func unclear(c *analysis.Comparison, b analysis.Band, known bool) Sentence {
	what := " it cannot be told who is ahead"
	if known {
		what = " single settings do not prove it"
	}
	return Sentence{Doubtful, placed(c, b) + what + wanted(c, bandSettings(c, b)) + "."}
}

// signed is a difference with its sign and its interval: "+0.5 % (-1.0 to 2.0)".
func signed(d, lower, upper analysis.Number) string {
	places := leadPlaces(d, lower, upper)
	return SignedPercent(float64(d), places) + " %" + Percents(lower, upper, places)
}

// Lead says how far side a of a comparison is ahead of b or behind: a/b - 1, whichever side
// is ahead. Where less is better it says how much less, or more, there is.
func Lead(c *analysis.Comparison, d, lower, upper analysis.Number) string {
	return actor(c.A) + " is " + LeadOf(c, d, lower, upper)
}

// LeadOf is what Lead says of side a: "behind by 8.5 % (5.6 to 11.3)", where less is better
// "ahead, with 8.5 % less time (5.6 to 11.3)".
func LeadOf(c *analysis.Comparison, d, lower, upper analysis.Number) string {
	amount, direction := "", "more"
	if d < 0 {
		d, lower, upper, direction = -d, -upper, -lower, "less"
	}
	places := leadPlaces(d, lower, upper)
	amount = Fixed(100*float64(d), places) + " %"
	within := Percents(lower, upper, places)
	switch lower := c.Better == "lower"; {
	case !lower && direction == "more":
		return "ahead by " + amount + within
	case !lower:
		return "behind by " + amount + within
	case direction == "less":
		return "ahead, with " + amount + " less" + ofWhat(c) + within
	}
	return "behind, with " + amount + " more" + ofWhat(c) + within
}

// ofWhat names what there is less of, where that is a time.
func ofWhat(c *analysis.Comparison) string {
	switch c.Unit {
	case "s", "ms", "us", "µs", "ns", "min", "h":
		return " time"
	}
	return ""
}

// leadPlaces are the decimals of a lead: as its interval deserves, and no more than three
// digits in all.
func leadPlaces(d, lower, upper analysis.Number) int {
	return min(PercentPlaces(lower, upper), threeDigits(100*float64(d)))
}

// threeDigits are the decimals, at most two, with which v has three digits.
func threeDigits(v float64) int {
	switch v = math.Abs(v); {
	case v >= 100:
		return 0
	case v >= 10:
		return 1
	}
	return 2
}

// Overall says who is ahead on the mean over all shared settings, or those of them that both
// sides keep to; there must be one.
func Overall(c *analysis.Comparison) Sentence {
	over := "On the mean over all shared settings "
	if c.Part {
		over = "On the mean over the settings that both keep to, "
	}
	o := c.Overall
	if o.Verdict == analysis.VerdictUnclear { // what is open has its number in the table
		return Sentence{Doubtful, over + "it cannot be told who is ahead."}
	}
	return Sentence{Plain, over + verdict(c, o.Verdict, o.Diff, o.Lower, o.Upper, "the two are level within "+Margin(c.Margin)+" %", "it cannot be told who is ahead") + "."}
}

// verdict says how far side a is ahead or behind, or with these words that the sides
// are level or that it cannot be told.
func verdict(c *analysis.Comparison, v analysis.Verdict, d, lower, upper analysis.Number, level, unclear string) string {
	switch v {
	case analysis.VerdictA, analysis.VerdictB:
		return Lead(c, d, lower, upper)
	case analysis.VerdictTie:
		return level + ": " + signed(d, lower, upper)
	}
	return unclear + ": " + signed(d, lower, upper)
}

// Common names what both sides of a comparison have in common: device, supply and
// variant, each nil where the sides differ in it.
func Common(device, supply, variant *string) string {
	return cmp.Or(Joined(OrEmpty(device), OrEmpty(variant), OrEmpty(supply)), "All together")
}

// Across says who is ahead over several workloads together.
func Across(a, b string, x analysis.Across) string {
	c := &analysis.Comparison{A: a, B: b, Better: x.Better}
	return fmt.Sprintf("Over %d workloads, %s: %s.", x.Workloads, Against(a, b), verdict(c, x.Verdict, x.Diff, x.Lower, x.Upper,
		"level within the margin", "it cannot be told who is ahead"))
}

// Place is a setting of a comparison, measured watts with one decimal; runs without a
// setting are compared too.
func Place(c *analysis.Comparison, watts analysis.Number, name string) string {
	if c.At != analysis.AtSetting && c.At != "" && watts.Known() {
		return Fixed(float64(watts), 1) + " W"
	}
	return cmp.Or(Setting(watts, name), unknownSetting)
}

const unknownSetting = "an unknown setting"

// bandSettings are the settings from one end of a band to the other that both sides have.
func bandSettings(c *analysis.Comparison, b analysis.Band) []analysis.SettingComparison {
	var members []analysis.SettingComparison
	inside := false
	for _, s := range c.Settings {
		if !s.Shared() {
			continue
		}
		inside = inside || s.Is(b.FromW, b.From)
		if inside && s.Verdict == b.Verdict {
			members = append(members, s)
		}
		if inside && s.Is(b.ToW, b.To) {
			break
		}
	}
	return members
}

// spread says that a lead over several settings is a mean, with the least and the
// greatest lead.
func spread(c *analysis.Comparison, members []analysis.SettingComparison) string {
	if len(members) < 2 {
		return ""
	}
	size := func(s analysis.SettingComparison) float64 { return math.Abs(float64(s.Diff)) }
	by := func(x, y analysis.SettingComparison) int { return cmp.Compare(size(x), size(y)) }
	least, most := slices.MinFunc(members, by), slices.MaxFunc(members, by)
	percent := func(s analysis.SettingComparison) string {
		return Fixed(100*size(s), leadPlaces(s.Diff, analysis.Unknown(), analysis.Unknown()))
	}
	at := func(s analysis.SettingComparison) string {
		return percent(s) + " % at " + Place(c, s.SettingW, s.Setting)
	}
	if percent(least) == percent(most) {
		return " on average"
	}
	return " on average, from " + at(least) + " to " + at(most)
}

// PercentPlaces are the decimals of a percentage with these bounds (ratios): 1,
// or 2 where the interval is narrower than a percent.
func PercentPlaces(lower, upper analysis.Number) int {
	h := 100 * HalfWidth(lower, upper)
	if !(h > 0) || h >= 0.5 {
		return 1
	}
	return 2
}

// Percents is an interval of ratios in percent.
func Percents(lower, upper analysis.Number, decimals int) string {
	return Interval(100*lower, 100*upper, decimals)
}

// Margin is the margin in percent without needless decimals.
func Margin(margin float64) string { return strconv.FormatFloat(100*margin, 'g', 3, 64) }

// Winner is the side that a verdict puts ahead, else the verdict itself: "tie", "unclear".
func Winner(c *analysis.Comparison, v analysis.Verdict) string {
	switch v {
	case analysis.VerdictA:
		return Side(c.A)
	case analysis.VerdictB:
		return Side(c.B)
	}
	return string(v)
}

// Side is a comparison's side in words. A key without a value means that the
// variant lacks it.
func Side(name string) string {
	if key, found := strings.CutSuffix(name, "="); found && key != "" {
		return "no " + key + " set"
	}
	return name
}

// CapBySupply says where a device follows fewer settings on one supply than on the other:
// there its results differ because its power does. It is empty where it does not, or where
// a comparison is not of supplies.
func CapBySupply(r *analysis.CurveResult, c *analysis.Comparison) []Sentence {
	a, b := curveOn(r, c, c.A), curveOn(r, c, c.B)
	if c.Factor != "supply" || a == nil || b == nil || a.Effective.ToW == b.Effective.ToW {
		return nil
	}
	if !(a.Effective.CapW < b.Effective.CapW || !b.Effective.CapW.Known()) { // b is the one that is capped first
		a, b = b, a
	}
	e := a.Effective
	if !e.CapW.Known() {
		return nil
	}
	text := fmt.Sprintf("On %s it is capped: set above %s W it acts as if set to %s W", a.Supply, Watts(float64(e.ToW)), Significant(float64(e.CapW)))
	if to := b.Effective.ToW; to > e.ToW {
		text += fmt.Sprintf("; on %s it follows settings up to %s W", b.Supply, Watts(float64(to)))
	}
	return []Sentence{{Good, text + "."}}
}

// curveOn is the curve of what a comparison of supplies compares, on one of them; nil where
// there is none.
func curveOn(r *analysis.CurveResult, c *analysis.Comparison, supply string) *analysis.CurveGroup {
	for i := range r.Groups {
		g := &r.Groups[i]
		if g.Supply == supply && g.Workload == c.Workload && g.Device == OrEmpty(c.Device) && g.Variant == OrEmpty(c.Variant) {
			return g
		}
	}
	return nil
}
