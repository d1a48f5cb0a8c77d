package text

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"sweepd/analysis"
)

// Compare writes comparisons as tables, with sentences for the bands, the
// crossings, the whole, and what could not be decided.
func Compare(w io.Writer, r analysis.CompareResult, o Options) error {
	p := &page{w: w, o: o}
	for i := range r.Comparisons {
		if i > 0 {
			p.gap()
		}
		p.comparison(&r.Comparisons[i])
	}
	if r.Across != nil {
		p.gap()
		p.say("Over %d workloads %s.", r.Across.Workloads, p.across(r))
	}
	for _, a := range r.AcrossPairs {
		if r.Across == nil {
			p.say("%s to %s over %d workloads: %s %%%s.", a.A, a.B, a.Workloads, SignedPercent(float64(a.Diff), percentPlaces(a.Lower, a.Upper)),
				percents(a.Lower, a.Upper, percentPlaces(a.Lower, a.Upper)))
		}
	}
	p.list("note", r.Notes)
	return p.err
}

func (p *page) comparison(c *analysis.Comparison) {
	p.tell(Plain, compareTitle(c))
	p.table(compareTable(c))
	for _, b := range c.Bands {
		p.band(c, b)
	}
	for _, x := range c.Crossings {
		p.say("The lead changes at %s W%s.", WithUncertainty(float64(x.AtW), halfWidth(x.LowerW, x.UpperW)),
			intervalText(x.LowerW, x.UpperW, Decimals(float64(x.AtW), halfWidth(x.LowerW, x.UpperW))))
	}
	if c.Overall != nil {
		p.overall(c)
	}
	if len(c.Flagged) > 0 {
		p.say("Unlike their repeats, and counted all the same: %s. Look at them (`sweepd run show`); reject what you can explain.", flaggedText(c.Flagged))
	}
	p.list("besides", c.Confounders)
	p.list("note", c.Notes)
}

// compareTitle says what is compared, and what both sides share.
func compareTitle(c *analysis.Comparison) string {
	parts := []string{fmt.Sprintf("%s: %s (a) and %s (b)", c.Workload, c.A, c.B)}
	for _, shared := range []*string{c.Device, c.Supply, c.Variant} {
		if shared != nil && *shared != "" {
			parts = append(parts, *shared)
		}
	}
	metric := c.Metric
	if c.Per != "" {
		metric += " per watt (" + c.Per + ")"
	}
	if c.Unit != "" && c.Per == "" {
		metric += " in " + c.Unit
	}
	parts = append(parts, metric+", "+c.Better+" is better")
	if c.At != analysis.AtSetting {
		parts = append(parts, "at equal "+c.At+" watts")
	}
	return strings.Join(parts, ", ")
}

func compareTable(c *analysis.Comparison) *Table {
	confidence := Fixed(100*c.Confidence, 0)
	t := &Table{Columns: []Column{
		{Head: "W", Right: true, Least: 6}, {Head: "runs", Right: true}, {Head: "mean a", Right: true}, {Head: "mean b", Right: true},
		{Head: "a/b %", Right: true}, {Head: confidence + " % from", Right: true}, {Head: "to", Right: true},
		{Head: "ahead", Least: 7}, {Head: "more runs", Right: true, Optional: true},
	}}
	meanA, meanB, places := compareDecimals(c)
	for _, s := range c.Settings {
		more := ""
		if s.MoreRuns != nil && *s.MoreRuns > 0 {
			more = fmt.Sprint(*s.MoreRuns)
		}
		t.Row(settingCell(s.SettingW, s.Setting), Cell{Text: fmt.Sprintf("%d/%d", s.NA, s.NB)},
			Cell{Text: Fixed(float64(s.MeanA), meanA)}, Cell{Text: Fixed(float64(s.MeanB), meanB)},
			Cell{Text: SignedPercent(float64(s.Diff), places)}, Cell{Text: SignedPercent(float64(s.Lower), places)}, Cell{Text: SignedPercent(float64(s.Upper), places)},
			Cell{Text: verdictText(c, s.Verdict), Tone: verdictTone(s.Verdict)}, Cell{Text: more})
	}
	return t
}

// compareDecimals are the decimals of the columns of means and of differences.
func compareDecimals(c *analysis.Comparison) (meanA, meanB, diff int) {
	n := len(c.Settings)
	a, b, ua, ub := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	most := 0
	for i, s := range c.Settings {
		a[i], b[i] = float64(s.MeanA), float64(s.MeanB)
		ua[i] = a[i] * float64(c.NoiseA) / math.Sqrt(float64(s.NA))
		ub[i] = b[i] * float64(c.NoiseB) / math.Sqrt(float64(s.NB))
		most = max(most, percentPlaces(s.Lower, s.Upper))
	}
	return columnDecimals(a, ua, 3), columnDecimals(b, ub, 3), most
}

// percentPlaces are the decimals of a percentage with these bounds (ratios): 1,
// or 2 where the interval is narrower than a percent.
func percentPlaces(lower, upper analysis.Number) int {
	h := 100 * halfWidth(lower, upper)
	if !(h > 0) || h >= 0.5 {
		return 1
	}
	return 2
}

func percents(lower, upper analysis.Number, decimals int) string {
	return intervalText(100*lower, 100*upper, decimals)
}

func verdictText(c *analysis.Comparison, v analysis.Verdict) string {
	switch v {
	case analysis.VerdictA:
		return c.A
	case analysis.VerdictB:
		return c.B
	}
	return string(v)
}

func verdictTone(v analysis.Verdict) Tone {
	switch v {
	case analysis.VerdictA, analysis.VerdictB:
		return Good
	case analysis.VerdictUnclear:
		return Doubtful
	}
	return Plain
}

// band says who is ahead over a stretch of settings.
func (p *page) band(c *analysis.Comparison, b analysis.Band) {
	where := rangeText(settingText(b.FromW, b.From), settingText(b.ToW, b.To))
	members := bandSettings(c, b)
	d, lower, upper := bandMean(members)
	places := percentPlaces(lower, upper)
	switch b.Verdict {
	case analysis.VerdictA, analysis.VerdictB:
		p.tell(Good, capital(where)+" "+aheadText(c, b.Verdict, d, lower, upper)+".")
	case analysis.VerdictTie:
		p.say("%s the two are level within %s %%: a/b %s %%%s.", capital(where), marginText(c.Margin), SignedPercent(float64(d), places), percents(lower, upper, places))
	default:
		p.tell(Doubtful, capital(where)+" it cannot be told who is ahead"+wantedText(members)+".")
	}
}

// bandSettings are the shared settings of a band, told from its ends.
func bandSettings(c *analysis.Comparison, b analysis.Band) []analysis.SettingComparison {
	var members []analysis.SettingComparison
	inside := false
	for _, s := range c.Settings {
		if s.NA == 0 || s.NB == 0 {
			continue
		}
		inside = inside || settingText(s.SettingW, s.Setting) == settingText(b.FromW, b.From)
		if inside && s.Verdict == b.Verdict {
			members = append(members, s)
		}
		if inside && settingText(s.SettingW, s.Setting) == settingText(b.ToW, b.To) {
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

// aheadText says by how much a side is ahead: how far its result differs from
// the other's, as a share of the other's.
func aheadText(c *analysis.Comparison, v analysis.Verdict, d, lower, upper analysis.Number) string {
	winner := c.A
	if v == analysis.VerdictB {
		winner = c.B
		d, lower, upper = inverse(d), inverse(upper), inverse(lower)
	}
	if c.Better == "lower" { // less is more: the size of the difference
		d, lower, upper = -d, -upper, -lower
	}
	places := percentPlaces(lower, upper)
	return fmt.Sprintf("%s is ahead by %s %%%s", winner, Fixed(100*float64(d), places), percents(lower, upper, places))
}

// inverse turns a/b - 1 into b/a - 1.
func inverse(d analysis.Number) analysis.Number { return 1/(1+d) - 1 }

// wantedText says how many runs it would take.
func wantedText(members []analysis.SettingComparison) string {
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

func (p *page) overall(c *analysis.Comparison) {
	o := c.Overall
	places := percentPlaces(o.Lower, o.Upper)
	switch o.Verdict {
	case analysis.VerdictA, analysis.VerdictB:
		p.say("Over all shared settings %s.", aheadText(c, o.Verdict, o.Diff, o.Lower, o.Upper))
	case analysis.VerdictTie:
		p.say("Over all shared settings the two are level within %s %%: a/b %s %%%s.", marginText(c.Margin),
			SignedPercent(float64(o.Diff), places), percents(o.Lower, o.Upper, places))
	default:
		p.say("Over all shared settings it cannot be told who is ahead: a/b %s %%%s.", SignedPercent(float64(o.Diff), places), percents(o.Lower, o.Upper, places))
	}
}

// across is the sentence over several workloads.
func (p *page) across(r analysis.CompareResult) string {
	c, x := &r.Comparisons[0], r.Across
	places := percentPlaces(x.Lower, x.Upper)
	return fmt.Sprintf("%s compares to %s with %s %%%s", c.A, c.B, SignedPercent(float64(x.Diff), places), percents(x.Lower, x.Upper, places))
}

// marginText is the margin in percent without needless decimals.
func marginText(margin float64) string { return strconv.FormatFloat(100*margin, 'g', 3, 64) }

func flaggedText(list []analysis.FlaggedRun) string {
	texts := make([]string, len(list))
	for i, f := range list {
		texts[i] = ShortID(f.Run) + " at " + settingText(f.SettingW, f.Setting)
	}
	return strings.Join(texts, ", ")
}

// ShortID is enough of a run's id to tell it from others: its end, which is
// random, while the beginning is the time.
func ShortID(id string) string {
	const length = 8
	return id[max(0, len(id)-length):]
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
