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

// CompareTitle says what is compared, and what both sides share.
func CompareTitle(c *analysis.Comparison) string {
	at := ""
	if c.At != analysis.AtSetting {
		at = "at equal " + c.At + " watts"
	}
	sides := fmt.Sprintf("%s: %s (a) and %s (b)", c.Workload, Side(c.A), Side(c.B))
	return Joined(sides, OrEmpty(c.Device), OrEmpty(c.Supply), OrEmpty(c.Variant), CompareMetric(c), at)
}

// CompareMetric is what is compared, with its unit and direction.
func CompareMetric(c *analysis.Comparison) string {
	metric := c.Metric
	if c.Inverted {
		metric = "1/" + metric
	}
	if c.Per != "" {
		metric += " per " + denominatorOf[c.Per]
	}
	if c.Unit != "" && c.Per == "" {
		metric += " in " + c.Unit
	}
	return metric + ", " + c.Better + " is better"
}

// denominatorOf names the watts that results are divided by.
var denominatorOf = map[string]string{
	analysis.AtPackage: Denominator[analysis.ByPackage], analysis.AtSystem: Denominator[analysis.BySystem], analysis.AtSetting: Denominator[analysis.BySetting],
}

// Compare says who is ahead at which settings, where the lead changes, who is
// ahead on the whole, and which runs need a look.
func Compare(c *analysis.Comparison) []Sentence {
	c = kept(c)
	var l list
	for _, b := range c.Bands {
		l = append(l, Band(c, b))
	}
	if len(c.Crossings) > 0 {
		l = append(l, Crossings(c))
	}
	if c.Overall != nil {
		l = append(l, Overall(c))
	}
	l.flagged(c.Flagged)
	return l
}

// kept is a comparison over the settings that are not known to be kept by one side only, or
// by none: elsewhere equal settings are not equal power, which its notes say.
func kept(c *analysis.Comparison) *analysis.Comparison {
	if !slices.ContainsFunc(c.Settings, func(s analysis.SettingComparison) bool { return s.Followed != nil && !*s.Followed }) {
		return c
	}
	out := *c
	out.Bands, out.Crossings, out.Overall, out.Part = c.BandsFollowed, c.CrossingsFollowed, c.OverallFollowed, true
	return &out
}

// Crossings says where the lead changes; there must be a place.
func Crossings(c *analysis.Comparison) Sentence {
	var l []string
	for _, x := range c.Crossings {
		l = append(l, "The lead changes at "+Crossing(x)+".")
	}
	return Sentence{Plain, strings.Join(l, " ")}
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
	where := Capital(Range(Place(c, b.FromW, b.From), Place(c, b.ToW, b.To)))
	members := bandSettings(c, b)
	d, lower, upper := bandMean(members)
	switch b.Verdict {
	case analysis.VerdictA, analysis.VerdictB:
		return Sentence{Good, where + " " + ahead(c, b.Verdict, d, lower, upper) + spread(c, b.Verdict, members) + "."}
	case analysis.VerdictTie:
		return Sentence{Plain, fmt.Sprintf("%s the two are level within %s %%: %s.", where, Margin(c.Margin), difference(c.A, c.B, d, lower, upper))}
	}
	return Sentence{Doubtful, where + " it cannot be told who is ahead" + wanted(c, members) + "."}
}

// difference is how far the result of one side is from the other's, with its interval.
func difference(a, b string, d, lower, upper analysis.Number) string {
	places := PercentPlaces(lower, upper)
	return fmt.Sprintf("%s over %s %s %%%s", Side(a), Side(b), SignedPercent(float64(d), places), Percents(lower, upper, places))
}

// Overall says who is ahead over all shared settings, or those of them that both sides
// keep to; there must be one.
func Overall(c *analysis.Comparison) Sentence {
	o := c.Overall
	over := "Over all shared settings "
	if c.Part {
		over = "Over the settings that both keep to, "
	}
	return Sentence{Plain, over + verdict(c, o.Verdict, o.Diff, o.Lower, o.Upper,
		"the two are level within "+Margin(c.Margin)+" %", "it cannot be told who is ahead") + "."}
}

// verdict says which side is ahead and by how much, or with these words that the sides
// are level or that it cannot be told.
func verdict(c *analysis.Comparison, v analysis.Verdict, d, lower, upper analysis.Number, level, unclear string) string {
	switch v {
	case analysis.VerdictA, analysis.VerdictB:
		return ahead(c, v, d, lower, upper)
	case analysis.VerdictTie:
		return level + ": " + difference(c.A, c.B, d, lower, upper)
	}
	return unclear + ": " + difference(c.A, c.B, d, lower, upper)
}

// Common names what both sides of a comparison have in common: device, supply and
// variant, each nil where the sides differ in it.
func Common(device, supply, variant *string) string {
	return cmp.Or(Joined(OrEmpty(device), OrEmpty(variant), OrEmpty(supply)), "All together")
}

// Across says who is ahead over several workloads together.
func Across(a, b string, x analysis.Across) string {
	c := &analysis.Comparison{A: a, B: b, Better: x.Better}
	return fmt.Sprintf("Over %d workloads %s.", x.Workloads, verdict(c, x.Verdict, x.Diff, x.Lower, x.Upper,
		Side(a)+" and "+Side(b)+" are level within the margin", "it cannot be told whether "+Side(a)+" or "+Side(b)+" is ahead"))
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
		if s.NA == 0 || s.NB == 0 {
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

// bandMean is the geometric mean of a/b over settings, minus 1. Because the
// bounds of all settings hold together, their means bound it.
func bandMean(members []analysis.SettingComparison) (d, lower, upper analysis.Number) {
	for _, s := range members {
		d += analysis.Number(math.Log1p(float64(s.Diff)))
		lower += analysis.Number(math.Log1p(float64(s.Lower)))
		upper += analysis.Number(math.Log1p(float64(s.Upper)))
	}
	mean := func(sum analysis.Number) analysis.Number {
		return analysis.Number(math.Expm1(float64(sum) / float64(len(members))))
	}
	return mean(d), mean(lower), mean(upper)
}

// ahead says by how much a side is ahead: how far its result differs from the
// other's, as a share of the other's.
func ahead(c *analysis.Comparison, v analysis.Verdict, d, lower, upper analysis.Number) string {
	winner := Side(c.A)
	if v == analysis.VerdictB {
		winner = Side(c.B)
	}
	d, lower, upper = lead(c, v, d), lead(c, v, lower), lead(c, v, upper)
	lower, upper = min(lower, upper), max(lower, upper)
	places := PercentPlaces(lower, upper)
	return fmt.Sprintf("%s is ahead by %s %%%s", winner, Fixed(100*float64(d), places), Percents(lower, upper, places))
}

// spread says that the lead over several settings is a mean, with the least and the
// greatest lead.
func spread(c *analysis.Comparison, v analysis.Verdict, members []analysis.SettingComparison) string {
	if len(members) < 2 {
		return ""
	}
	leads := make([]float64, len(members))
	for i, s := range members {
		leads[i] = float64(lead(c, v, s.Diff))
	}
	least, most := slices.Index(leads, slices.Min(leads)), slices.Index(leads, slices.Max(leads))
	at := func(i int) string {
		return Fixed(100*leads[i], 1) + " % at " + Place(c, members[i].SettingW, members[i].Setting)
	}
	return " on average, from " + at(least) + " to " + at(most)
}

// lead turns a/b - 1 into how far the side that is ahead differs from the other.
func lead(c *analysis.Comparison, v analysis.Verdict, d analysis.Number) analysis.Number {
	if v == analysis.VerdictB {
		d = 1/(1+d) - 1
	}
	if c.Better == "lower" { // less is more: the size of the difference
		d = -d
	}
	return d
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
