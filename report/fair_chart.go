package report

import (
	"fmt"
	"math"
	"slices"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// Equal settings need not be equal power: here the result stands over the watts that were
// measured.

// fairCharts draw the result over measured package watts and over those of the whole device,
// a panel for each kind that is known.
func (b *builder) fairCharts(t *Topic, workload, supply string, groups []*analysis.CurveGroup) []chart.Chart {
	groups = slices.DeleteFunc(slices.Clone(groups), func(g *analysis.CurveGroup) bool {
		return !slices.ContainsFunc(g.Points, func(p analysis.CurvePoint) bool { return p.PackageW.Known() || p.SystemW.Known() })
	})
	return shareAxes(inParts(groups, func(part []*analysis.CurveGroup, which string) chart.Chart {
		return b.fairChart(t, workload, supply, part, which)
	}))
}

func (b *builder) fairChart(t *Topic, workload, supply string, groups []*analysis.CurveGroup, which string) chart.Chart {
	c := chart.Chart{
		Name: b.unique(fileName("watts", workload, supply, t.Metric)), Beside: true,
		Lines: []string{sentence.Joined(workload, onSupply(supply)) + ": " + sentence.MetricWords(t.Metric, t.Curve.Unit) + ", over the watts that were measured"},
	}
	var both []chart.Panel
	for _, kind := range []struct {
		title, label string
		watts        func(p *analysis.CurvePoint) analysis.Number
		across       quantityOf
	}{
		{"over package watts", "package power, W", func(p *analysis.CurvePoint) analysis.Number { return p.PackageW }, packageOf},
		{"over watts of the whole device", "power of the whole device, W", func(p *analysis.CurvePoint) analysis.Number { return p.SystemW }, systemOf},
	} {
		p := chart.Panel{Title: kind.title, X: chart.Axis{Label: kind.label, From: new(float64)}, Y: chart.Axis{}}
		for _, g := range groups {
			s := b.legend.curve(g.Device, g.Variant)
			for i := range g.Points {
				x := &g.Points[i]
				if w := kind.watts(x); w.Known() {
					lower, upper := b.spread(g, *x, kind.across)
					s.Points = append(s.Points, interval(float64(w), x.Mean, x.Lower, x.Upper))
					s.Across = append(s.Across, chart.Reach{From: finite(lower), To: finite(upper)})
				}
			}
			if len(s.Points) > 0 {
				p.Series = append(p.Series, s)
			}
		}
		if len(p.Series) > 0 {
			both = append(both, p)
		}
	}
	c.Panels = both
	c.Title = b.fairTitle(t, workload, supply, groups) + which
	c.Key = intervalItems(meanText(countRuns(groups)), t.Curve.Confidence, c.Panels, noiseOf(groups)...)
	c.Key = append(c.Key, chart.Item{Symbol: chart.SymbolAcross, Text: "watts from the lowest run to the highest"})
	c.Footer = b.footer(source{runs: ofGroups(workload, supply, keysOf(groups)), points: countRuns(groups), confidence: t.Curve.Confidence})
	c.Alt = c.Title + "."
	for _, g := range groups {
		c.Alt += " " + b.legend.name(g.Device, g.Variant) + ": " + b.bestOverWatts(t, g) + "."
	}
	return c
}

// fairTitle is what the page claims at equal measured watts, else what the first panel shows.
func (b *builder) fairTitle(t *Topic, workload, supply string, groups []*analysis.CurveGroup) string {
	var overall, crossings []*analysis.Claim
	leads := map[analysis.Verdict]bool{}
	for i := range b.study.Claims {
		k := &b.study.Claims[i]
		if k.Factor != "device" || k.At != analysis.AtPackage || k.Per != "" || k.Metric != t.Metric || k.Workload != workload || sentence.OrEmpty(k.Supply) != supply {
			continue
		}
		switch {
		case k.Kind == analysis.ClaimOverall:
			overall = append(overall, k)
		case k.Kind == analysis.ClaimCrossing:
			crossings = append(crossings, k)
		case k.Kind == analysis.ClaimBand && k.Verdict != analysis.VerdictTie:
			leads[k.Verdict] = true
		}
	}
	switch {
	case len(groups) == 2 && len(crossings) > 0:
		return "At equal package watts the lead changes " + sentence.Listed(crossingPlaces(crossings), mostPlaces)
	case len(groups) == 2 && len(leads) > 1:
		return "At equal package watts each is ahead somewhere: the lead changes"
	case len(groups) == 2 && len(overall) > 0 && overall[0].Verdict == analysis.VerdictTie:
		return "At equal package watts " + sentence.Side(overall[0].A) + " and " + sentence.Side(overall[0].B) + " are level on average"
	case len(groups) == 2 && len(overall) > 0:
		k := overall[0]
		return fmt.Sprintf("At equal package watts %s is %s %s by %s on average", sentence.Side(k.A), aheadOrBehind(k), sentence.Side(k.B), percentOff(k))
	}
	if len(groups) == 1 {
		return b.legend.name(groups[0].Device, groups[0].Variant) + ": " + b.bestOverWatts(t, groups[0])
	}
	return "What each measured watt gives: " + sentence.MetricName(t.Metric)
}

// crossingPlaces are the places at which the lead changes.
func crossingPlaces(list []*analysis.Claim) []string {
	var words []string
	for _, k := range list {
		words = append(words, "at "+sentence.Crossing(analysis.Crossing{AtW: k.AtW, LowerW: k.FromW, UpperW: k.ToW}))
	}
	return words
}

// bestOverWatts is the best mean result with the watts that it took.
func (b *builder) bestOverWatts(t *Topic, g *analysis.CurveGroup) string {
	for _, p := range g.Points {
		if p.Is(g.Best.AtW, g.Best.At) {
			text := valueText(p.Mean, p.Lower, p.Upper, unitOr(t))
			if p.PackageW.Known() {
				text += " for " + sentence.Significant(float64(p.PackageW)) + " W of the package"
			}
			if p.SystemW.Known() {
				text += ", " + sentence.Significant(float64(p.SystemW)) + " W of the whole device"
			}
			return text
		}
	}
	return sentence.Dash
}

// quantityOf picks watts of a run; nil where they are unknown.
type quantityOf func(*run.Run) *float64

func packageOf(r *run.Run) *float64 { return r.PackageW }
func systemOf(r *run.Run) *float64  { return r.SystemW }

// spread is the lowest and highest watts of a point's runs; infinite without any.
func (b *builder) spread(g *analysis.CurveGroup, x analysis.CurvePoint, of quantityOf) (lower, upper analysis.Number) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range b.cells[cellAt(g, x.SettingW, x.Setting)] {
		if w := of(r); w != nil {
			low, high = min(low, *w), max(high, *w)
		}
	}
	return analysis.Number(low), analysis.Number(high)
}
