package report

import (
	"fmt"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// pairChart draws the curves of a comparison's two sides with its bands.
func (b *builder) pairChart(t *Topic, c *analysis.Comparison) chart.Chart {
	styleA, styleB := b.legend.sideStyles(c)
	place := placeSettings(compareSettings(c))
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: sentence.MetricName(t.Metric), Unit: t.Curve.Unit}}
	var odd []chart.Series
	for side, style := range []int{styleA, styleB} {
		s := chart.Series{Name: sentence.Side([]string{c.A, c.B}[side]), Style: style, Joined: true}
		for _, x := range c.Settings {
			mean, n := x.MeanA, x.NA
			if side == 1 {
				mean, n = x.MeanB, x.NB
			}
			if n > 0 {
				lower, upper := pointInterval(t, c, x, mean, n)
				s.Points = append(s.Points, interval(place.at(x.SettingW, x.Setting), mean, lower, upper))
			}
		}
		if g := sideCurve(t, c, []string{c.A, c.B}[side]); g != nil {
			s.NotKept = b.notKept(g, place)
			odd = append(odd, b.oddPoints(t, g, place, style)...)
		}
		p.Series = append(p.Series, s)
	}
	p.Series = append(p.Series, odd...)
	where := conditions(c)
	out := chart.Chart{
		Name:   b.unique(fileName("pair", c.Workload, c.A, c.B, where, c.Metric)),
		Title:  b.leadTitle(c),
		Lines:  []string{compareLine(c, t.Curve.Unit, "")},
		Panels: []chart.Panel{p},
		Key:    intervalItems(meanText(sideRuns(c)), t.Curve.Confidence, []chart.Panel{p}, c.NoiseSourceA, c.NoiseSourceB),
	}
	out.Key = append(out.Key, markItems(out.Panels)...)
	b.addStrip(&out, c)
	out.Footer = b.footer(b.ofComparison(c))
	out.Alt = b.altOfComparison(&out, c)
	return out
}

// ofComparison are the runs of a comparison's sides.
func (b *builder) ofComparison(c *analysis.Comparison) source {
	s := source{points: sideRuns(c), confidence: c.Confidence}
	s.runs = func(r *run.Run) bool {
		if r.Workload != c.Workload || !matches(c.Device, r.Device) || !matches(c.Supply, string(r.Supply)) || !matches(c.Variant, string(r.Variant)) {
			return false
		}
		return sideHas(c, c.A, r) || sideHas(c, c.B, r)
	}
	return s
}

// altOfComparison is the verdict of a comparison in words.
func (b *builder) altOfComparison(out *chart.Chart, c *analysis.Comparison) string {
	text := out.Title + ". " + out.Lines[0] + "."
	if words := wordsOf(b.claimed(c)); words != "" {
		text += " " + words
	}
	return text
}

// sideHas tells whether a run is one of a side's; where sides are pairs of the variant and
// more, by the variant alone.
func sideHas(c *analysis.Comparison, side string, r *run.Run) bool {
	switch c.Factor {
	case "device":
		return r.Device == side
	case "supply":
		return string(r.Supply) == side
	}
	key, value, _ := strings.Cut(side, "=")
	return variantValue(r.Variant, key) == value
}

func sideRuns(c *analysis.Comparison) []int {
	var n []int
	for _, s := range c.Settings {
		n = append(n, s.NA, s.NB)
	}
	return n
}

// pointInterval finds the interval of a side's mean of so many runs in the curves.
func pointInterval(t *Topic, c *analysis.Comparison, x analysis.SettingComparison, mean analysis.Number, n int) (lower, upper analysis.Number) {
	for i := range t.Curve.Groups {
		g := &t.Curve.Groups[i]
		if g.Workload != c.Workload || !matches(c.Device, g.Device) || !matches(c.Supply, g.Supply) || !matches(c.Variant, g.Variant) {
			continue
		}
		for _, p := range g.Points {
			// The side is the group whose mean of as many runs is the same.
			if sentence.Setting(p.SettingW, p.Setting) == sentence.Setting(x.SettingW, x.Setting) && p.N == n && near(p.Mean, mean) {
				return p.Lower, p.Upper
			}
		}
	}
	return analysis.Unknown(), analysis.Unknown()
}

func matches(want *string, have string) bool { return want == nil || *want == have }

func near(a, b analysis.Number) bool { return a-b <= 1e-9*b && b-a <= 1e-9*b }

// differenceChart draws the difference of a comparison with its bounds and the
// margin.
func (b *builder) differenceChart(c *analysis.Comparison) (chart.Chart, bool) {
	c = b.study.claimable(c)
	place := placeSettings(compareSettings(c))
	styleA, styleB := b.legend.sideStyles(c)
	zero, above, below := 0.0, 100*c.Margin, -100*c.Margin
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: "difference in %, " + sentence.Side(c.A) + " over " + sentence.Side(c.B), Signed: true}}
	p.Guides = []chart.Guide{{Y: &zero, Thick: true}}
	if c.Margin > 0 {
		p.Guides = append(p.Guides, chart.Guide{Y: &above}, chart.Guide{Y: &below})
	}
	series := map[analysis.Verdict]*chart.Series{
		analysis.VerdictA: {Style: styleA}, analysis.VerdictB: {Style: styleB}, analysis.VerdictTie: {Style: plainStyle}, analysis.VerdictUnclear: {Style: plainStyle},
	}
	line := chart.Series{Bare: true, Joined: true, Style: plainStyle}
	for _, s := range c.Settings {
		if !s.Diff.Known() {
			continue
		}
		at := place.at(s.SettingW, s.Setting)
		q := interval(at, 100*s.Diff, 100*s.Lower, 100*s.Upper)
		line.Points = append(line.Points, flat(at, q.Y))
		of := series[s.Verdict]
		if !s.Counts() {
			of = series[analysis.VerdictUnclear]
			of.NotKept = append(of.NotKept, at)
		}
		of.Points = append(of.Points, q)
	}
	if len(line.Points) == 0 {
		return chart.Chart{}, false
	}
	p.Series = append(p.Series, line)
	for _, v := range []analysis.Verdict{analysis.VerdictA, analysis.VerdictB, analysis.VerdictTie, analysis.VerdictUnclear} {
		if len(series[v].Points) > 0 {
			p.Series = append(p.Series, *series[v])
		}
	}
	b.clipBounds(&p, c)
	p.Strip = strip(c, place, styleA, styleB)
	crossings := addCrossings(&p, c)
	where := conditions(c)
	out := chart.Chart{
		Name:  b.unique(fileName("difference", c.Workload, c.A, c.B, where, c.Metric)),
		Title: b.differenceTitle(c),
		Lines: []string{fmt.Sprintf("%s; above 0: %s", compareLine(c, "", against(c)+", "), aboveZero(c))},
		Key: append(intervalItems(", all that the page compares together", c.Confidence, []chart.Panel{p}, c.NoiseSourceA, c.NoiseSourceB),
			stripItems(c, styleA, styleB)...),
		Panels: []chart.Panel{p},
	}
	if c.Margin > 0 {
		out.Key = append(out.Key, chart.Item{Symbol: chart.SymbolGuide, Text: "margin: ±" + sentence.Margin(c.Margin) + " % does not matter"})
	}
	out.Key = append(out.Key, markItems(out.Panels)...)
	out.Key = append(out.Key, crossings...)
	out.Footer = b.footer(b.ofComparison(c))
	out.Alt = b.altOfComparison(&out, c)
	return out, true
}

// plainStyle stands for the ink of the picture.
const plainStyle = chart.Ink

// aboveZero says what a positive difference means.
func aboveZero(c *analysis.Comparison) string {
	if c.Better == "lower" {
		return sentence.Side(c.B) + " is better"
	}
	return sentence.Side(c.A) + " is better"
}

// clipBounds keeps single very wide intervals from squeezing all others: bounds
// beyond three times the usual reach leave the picture as arrows.
func (b *builder) clipBounds(p *chart.Panel, c *analysis.Comparison) {
	var halves, values []float64
	for _, s := range c.Settings {
		if s.Diff.Known() {
			values = append(values, 100*float64(s.Diff))
			if h := 100 * sentence.HalfWidth(s.Lower, s.Upper); h > 0 {
				halves = append(halves, h)
			}
		}
	}
	if len(halves) < 3 {
		return
	}
	reach := 3 * analysis.Median(halves)
	low, high := -100*c.Margin, 100*c.Margin
	for _, v := range values {
		low, high = min(low, v-reach), max(high, v+reach)
	}
	for i := range p.Series {
		for k := range p.Series[i].Points {
			q := &p.Series[i].Points[k]
			if q.Lower < low {
				p.Y.From = &low
			}
			if q.Upper > high {
				p.Y.To = &high
			}
		}
	}
}

func wordsOf(list []sentence.Sentence) string {
	var parts []string
	for _, s := range list {
		parts = append(parts, s.Text)
	}
	return strings.Join(parts, " ")
}
