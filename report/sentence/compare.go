package sentence

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"sweepd/analysis"
)

// CompareTitle says what is compared, and what both sides share.
func CompareTitle(c *analysis.Comparison) string {
	parts := []string{fmt.Sprintf("%s: %s (a) and %s (b)", c.Workload, c.A, c.B)}
	for _, shared := range []*string{c.Device, c.Supply, c.Variant} {
		if shared != nil && *shared != "" {
			parts = append(parts, *shared)
		}
	}
	parts = append(parts, CompareMetric(c))
	if c.At != analysis.AtSetting {
		parts = append(parts, "at equal "+c.At+" watts")
	}
	return strings.Join(parts, ", ")
}

// CompareMetric is what is compared, with its unit and direction.
func CompareMetric(c *analysis.Comparison) string {
	metric := c.Metric
	if c.Per != "" {
		metric += " per watt (" + c.Per + ")"
	}
	if c.Unit != "" && c.Per == "" {
		metric += " in " + c.Unit
	}
	return metric + ", " + c.Better + " is better"
}

// Compare says who is ahead at which settings, where the lead changes, who is
// ahead on the whole, and which runs need a look.
func Compare(c *analysis.Comparison) []Sentence {
	var l list
	for _, b := range c.Bands {
		l = append(l, Band(c, b))
	}
	for _, x := range c.Crossings {
		half := HalfWidth(x.LowerW, x.UpperW)
		l.say("The lead changes at %s W%s.", WithUncertainty(float64(x.AtW), half), Interval(x.LowerW, x.UpperW, Decimals(float64(x.AtW), half)))
	}
	if c.Overall != nil {
		l = append(l, Overall(c))
	}
	if len(c.Flagged) > 0 {
		l.say("Unlike their repeats, and counted all the same: %s. Look at them (`sweepd run show`); reject what you can explain.", Flagged(c.Flagged))
	}
	return l
}

// Band says who is ahead over a stretch of settings, or how many runs it would
// take to tell.
func Band(c *analysis.Comparison, b analysis.Band) Sentence {
	where := Capital(Range(Setting(b.FromW, b.From), Setting(b.ToW, b.To)))
	members := bandSettings(c, b)
	d, lower, upper := bandMean(members)
	places := PercentPlaces(lower, upper)
	switch b.Verdict {
	case analysis.VerdictA, analysis.VerdictB:
		return Sentence{Good, where + " " + ahead(c, b.Verdict, d, lower, upper) + "."}
	case analysis.VerdictTie:
		return Sentence{Plain, fmt.Sprintf("%s the two are level within %s %%: a/b %s %%%s.", where, Margin(c.Margin),
			SignedPercent(float64(d), places), Percents(lower, upper, places))}
	}
	return Sentence{Doubtful, where + " it cannot be told who is ahead" + wanted(members) + "."}
}

// Overall says who is ahead over all shared settings; there must be one.
func Overall(c *analysis.Comparison) Sentence {
	o := c.Overall
	places := PercentPlaces(o.Lower, o.Upper)
	ratio := fmt.Sprintf("a/b %s %%%s", SignedPercent(float64(o.Diff), places), Percents(o.Lower, o.Upper, places))
	switch o.Verdict {
	case analysis.VerdictA, analysis.VerdictB:
		return Sentence{Plain, "Over all shared settings " + ahead(c, o.Verdict, o.Diff, o.Lower, o.Upper) + "."}
	case analysis.VerdictTie:
		return Sentence{Plain, fmt.Sprintf("Over all shared settings the two are level within %s %%: %s.", Margin(c.Margin), ratio)}
	}
	return Sentence{Plain, fmt.Sprintf("Over all shared settings it cannot be told who is ahead: %s.", ratio)}
}

// Across sums comparisons over workloads up.
func Across(a, b string, x analysis.Across) string {
	places := PercentPlaces(x.Lower, x.Upper)
	return fmt.Sprintf("Over %d workloads %s compares to %s with %s %%%s.", x.Workloads, a, b,
		SignedPercent(float64(x.Diff), places), Percents(x.Lower, x.Upper, places))
}

// bandSettings are the shared settings of a band, told from its ends.
func bandSettings(c *analysis.Comparison, b analysis.Band) []analysis.SettingComparison {
	var members []analysis.SettingComparison
	inside := false
	for _, s := range c.Settings {
		if s.NA == 0 || s.NB == 0 {
			continue
		}
		inside = inside || Setting(s.SettingW, s.Setting) == Setting(b.FromW, b.From)
		if inside && s.Verdict == b.Verdict {
			members = append(members, s)
		}
		if inside && Setting(s.SettingW, s.Setting) == Setting(b.ToW, b.To) {
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
	winner := c.A
	if v == analysis.VerdictB {
		winner = c.B
		d, lower, upper = inverse(d), inverse(upper), inverse(lower)
	}
	if c.Better == "lower" { // less is more: the size of the difference
		d, lower, upper = -d, -upper, -lower
	}
	places := PercentPlaces(lower, upper)
	return fmt.Sprintf("%s is ahead by %s %%%s", winner, Fixed(100*float64(d), places), Percents(lower, upper, places))
}

// inverse turns a/b - 1 into b/a - 1.
func inverse(d analysis.Number) analysis.Number { return 1/(1+d) - 1 }

// wanted says how many runs it would take.
func wanted(members []analysis.SettingComparison) string {
	most, known := 0, len(members) > 0
	for _, s := range members {
		if s.MoreRuns == nil {
			known = false
			continue
		}
		most = max(most, *s.MoreRuns)
	}
	switch {
	case most == 0:
		return ""
	case !known:
		return fmt.Sprintf(": at least %d more runs of each side are needed", most)
	case most == 1:
		return ": 1 more run of each side at each setting would tell"
	}
	return fmt.Sprintf(": %d more runs of each side at each setting would tell", most)
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

// Winner names the side that a verdict names, else says what it says.
func Winner(c *analysis.Comparison, v analysis.Verdict) string {
	switch v {
	case analysis.VerdictA:
		return c.A
	case analysis.VerdictB:
		return c.B
	}
	return string(v)
}
