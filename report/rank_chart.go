package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/run"
)

// All devices tested so far against one, ranked: of each the mean difference over the
// settings that both keep to, with the interval of the page's error budget, so that all of
// them hold together with what else the page claims.

// rank is the devices of one workload and supply, the best first.
type rank struct {
	t       *Topic
	members []*analysis.Comparison // as the page may claim them, all with the same b
}

// ranks are what is ranked of a topic: each workload, supply and variant by itself.
func (b *builder) ranks(t *Topic) []*rank {
	if t.All == nil {
		return nil
	}
	var list []*rank
	for i := range t.All.Comparisons {
		c := b.study.claimable(&t.All.Comparisons[i])
		k := slices.IndexFunc(list, func(r *rank) bool {
			first := r.members[0]
			return first.Workload == c.Workload && sameText(first.Supply, c.Supply) && sameText(first.Variant, c.Variant) && first.B == c.B
		})
		if k < 0 {
			k = len(list)
			list = append(list, &rank{t: t})
		}
		list[k].members = append(list[k].members, c)
	}
	slices.SortStableFunc(list, func(x, y *rank) int { // mains first, as everywhere
		a, b := x.members[0], y.members[0]
		return cmp.Or(cmp.Compare(a.Workload, b.Workload), -cmp.Compare(sentence.OrEmpty(a.Supply), sentence.OrEmpty(b.Supply)))
	})
	for _, r := range list {
		r.sort()
	}
	return list
}

// sort puts the best first; devices of which nothing can be said last.
func (r *rank) sort() {
	better := func(c *analysis.Comparison) float64 {
		switch {
		case c.Overall == nil || !c.Overall.Diff.Known():
			return math.Inf(1)
		case c.Better == "lower":
			return float64(c.Overall.Diff)
		}
		return -float64(c.Overall.Diff)
	}
	slices.SortStableFunc(r.members, func(x, y *analysis.Comparison) int {
		return cmp.Or(cmp.Compare(better(x), better(y)), cmp.Compare(x.A, y.A))
	})
}

// place is the place of the reference among the members: behind those whose mean is better.
func (r *rank) place() int {
	n := 0
	for i := range r.members {
		c := r.members[i]
		if c.Overall != nil && c.Overall.Diff.Known() && (c.Overall.Diff > 0) == (c.Better != "lower") && c.Overall.Diff != 0 {
			n++
		}
	}
	return n
}

// mostRanked is how many devices one picture ranks.
const mostRanked = 15

// rankCharts draw a rank, in several pictures where there are very many devices.
func (b *builder) rankCharts(r *rank) []chart.Chart {
	first := r.members[0]
	base := sentence.Side(first.B)
	var rows []chart.Row
	reference := chart.Row{Name: base, Note: "= 100 %", Spots: []chart.Spot{{At: 0, Lower: math.NaN(), Upper: math.NaN(), Style: b.rankStyle(first.B)}}}
	place, open, words := r.place(), false, []string{}
	for i := range r.members {
		if i == place {
			rows = append(rows, reference)
		}
		c := r.members[i]
		row := chart.Row{Name: sentence.Side(c.A), Note: "no setting in common"}
		if o := c.Overall; o != nil && o.Diff.Known() {
			unclear := o.Verdict == analysis.VerdictUnclear
			open = open || unclear
			row.Spots = []chart.Spot{{At: 100 * float64(o.Diff), Lower: finite(100 * o.Lower), Upper: finite(100 * o.Upper), Style: b.rankStyle(c.A), Open: unclear}}
			row.Note = differenceWords(o)
		}
		words = append(words, row.Name+" "+row.Note)
		rows = append(rows, row)
	}
	if place == len(r.members) {
		rows = append(rows, reference)
	}
	parts := (len(rows) + mostRanked - 1) / mostRanked
	var charts []chart.Chart
	for k := range parts {
		c := chart.Chart{
			Name: b.unique(fileName("ranking", first.Workload, conditions(first), first.Metric)), Title: r.title(),
			Lines: []string{fmt.Sprintf("%s: %s, against %s (= 100 %%), mean over the settings that both keep to, %s is better", sentence.Joined(first.Workload, conditions(first)),
				sentence.MetricName(first.Metric), base, first.Better)},
		}
		if parts > 1 {
			c.Title += fmt.Sprintf(" (%d of %d)", k+1, parts)
		}
		zero := 0.0
		p := chart.Panel{X: chart.Axis{Label: "difference from " + base + ", %", Signed: true, Also: rankReach(rows)}, Rows: rows[k*len(rows)/parts : (k+1)*len(rows)/parts],
			Guides: []chart.Guide{{X: &zero, Thick: true}}}
		c.Panels = []chart.Panel{p}
		c.Key = []chart.Item{{Symbol: chart.SymbolAcross, Text: "95 % interval, all together"}}
		if open {
			c.Key = append(c.Key, chart.Item{Symbol: chart.SymbolUnclear, Text: "cannot be told from " + base})
		}
		c.Footer = b.footerOf(b.rankedRuns(r), source{})
		c.Alt = c.Title + ". " + strings.Join(words, "; ") + "."
		charts = append(charts, c)
	}
	return charts
}

// rankReach are the ends of all intervals, so that several pictures have one axis.
func rankReach(rows []chart.Row) []float64 {
	r := (&chart.Panel{Rows: rows}).ReachX()
	return []float64{r.From, r.To}
}

// rankStyle is the style of a device of the page; ink for others.
func (b *builder) rankStyle(device string) int {
	for i, k := range b.legend.keys {
		if k[0] == device {
			return b.legend.fixed[i]
		}
	}
	return chart.Ink
}

// rankedRuns are the runs that a rank is of.
func (b *builder) rankedRuns(r *rank) []run.Run {
	var list []run.Run
	for _, x := range b.study.allRuns() {
		if slices.ContainsFunc(r.members, func(c *analysis.Comparison) bool { return b.ofComparison(c).runs(&x) }) {
			list = append(list, x)
		}
	}
	return list
}

// differenceWords is a mean difference with its interval.
func differenceWords(o *analysis.Overall) string {
	places := sentence.PercentPlaces(o.Lower, o.Upper)
	return typeset(sentence.SignedPercent(float64(o.Diff), places) + " %" + sentence.Percents(o.Lower, o.Upper, places))
}

// title says against how many the reference is ahead, and behind how many.
func (r *rank) title() string {
	base := sentence.Side(r.members[0].B)
	var ahead, behind, level, open int
	for i := range r.members {
		c := r.members[i]
		switch {
		case c.Overall == nil || c.Overall.Verdict == analysis.VerdictUnclear:
			open++
		case c.Overall.Verdict == analysis.VerdictTie:
			level++
		case c.Overall.Verdict == analysis.VerdictA:
			behind++
		default:
			ahead++
		}
	}
	n := len(r.members)
	of := func(k int) string {
		switch {
		case n == 1:
			return sentence.Side(r.members[0].A)
		case k == n:
			return fmt.Sprintf("all %d others", n)
		}
		return fmt.Sprint(k)
	}
	var parts []string
	for _, x := range []struct {
		n    int
		text string
	}{{ahead, "ahead of "}, {behind, "behind "}, {level, "level with "}, {open, "not to be told from "}} {
		if x.n > 0 {
			parts = append(parts, x.text+of(x.n))
		}
	}
	if n > 1 && len(parts) > 1 {
		return fmt.Sprintf("%s is, on average over the settings, %s of %d others", base, sentence.Listed(parts, len(parts)), n)
	}
	return base + " is, on average over the settings, " + strings.Join(parts, ", ")
}

// table has the numbers of a rank.
func (r *rank) table() *table.Table {
	first := r.members[0]
	t := &table.Table{Caption: sentence.Joined(first.Workload, conditions(first)) + ": all devices tested so far against " + sentence.Side(first.B) + ", a/b − 1 in %, mean over the settings that both keep to",
		Columns: []table.Column{{Head: "device"}, {Head: "%", Right: true}, {Head: "95 % from", Right: true}, {Head: "to", Right: true}, {Head: "ahead"}}}
	for i := range r.members {
		c := r.members[i]
		if o := c.Overall; o != nil {
			places := sentence.PercentPlaces(o.Lower, o.Upper)
			t.Row(table.Text(sentence.Side(c.A)), table.Number(100*o.Diff, places), table.Number(100*o.Lower, places), table.Number(100*o.Upper, places), table.Text(sentence.Winner(c, o.Verdict)))
			continue
		}
		t.Row(table.Text(sentence.Side(c.A)))
	}
	return t
}
