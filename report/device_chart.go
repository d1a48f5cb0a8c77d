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
)

// The summary of a device in one picture: result, runtime and temperature over the settings,
// which of them are kept, where the result is off its trend, and what to set.

// summed is what the summary of a device in a workload is made of.
type summed struct {
	t                         *Topic
	device, variant, workload string
	groups                    []*analysis.CurveGroup // by supply, mains first
	battery                   *analysis.BatteryGroup // nil: none
}

// summaries are what the devices of a workload are summed up from, by device and variant.
func (b *builder) summaries(t *Topic, workload string) []*summed {
	var list []*summed
	for _, groups := range bySupply(t, workload) {
		for _, g := range groups {
			i := slices.IndexFunc(list, func(s *summed) bool { return s.device == g.Device && s.variant == g.Variant })
			if i < 0 {
				i = len(list)
				list = append(list, &summed{t: t, device: g.Device, variant: g.Variant, workload: workload, battery: b.batteryGroup(g)})
			}
			list[i].groups = append(list[i].groups, g)
		}
	}
	return list
}

// mostSummaries is how many devices of a workload get a picture of their own.
const mostSummaries = 12

// deviceCharts are the summaries of the devices of a workload, but for the one that the page
// opens with.
func (b *builder) deviceCharts(t *Topic, workload string) []chart.Chart {
	var charts []chart.Chart
	for i, s := range b.summaries(t, workload) {
		name := b.summaryName(s)
		if i < mostSummaries && !b.names[name] {
			charts = append(charts, b.deviceChart(s))
		}
	}
	return charts
}

// openingSummary is the picture that the page of one device opens with.
func (b *builder) openingSummary() []chart.Chart {
	for i := range b.study.Topics {
		t := &b.study.Topics[i]
		for _, w := range t.Workloads {
			if list := b.summaries(t, w); len(list) > 0 {
				return []chart.Chart{b.deviceChart(list[0])}
			}
		}
	}
	return nil
}

func (b *builder) summaryName(s *summed) string {
	return fileName("summary", s.device, s.variant, s.workload, s.t.Metric)
}

// batteryGroup is what the battery says of the device of a curve; nil where it says nothing.
func (b *builder) batteryGroup(g *analysis.CurveGroup) *analysis.BatteryGroup {
	if b.study.Battery == nil {
		return nil
	}
	for i := range b.study.Battery.Groups {
		if x := &b.study.Battery.Groups[i]; x.Device == g.Device && x.Workload == g.Workload && x.Variant == g.Variant {
			return x
		}
	}
	return nil
}

func (b *builder) deviceChart(s *summed) chart.Chart {
	place := placeSettings(curveSettings(s.groups))
	name := b.legend.name(s.device, s.variant)
	if len(workloadsOf(b.study.runs)) > 1 {
		name += " in " + s.workload
	}
	c := chart.Chart{
		Name: b.unique(b.summaryName(s)), Sharing: true, Aside: true,
		Title: name + ": " + s.finding(),
		Lines: []string{s.workload + ", " + suppliesOfGroups(s.groups) + ", over the setting"},
	}
	c.Panels = append(c.Panels, b.resultOfDevice(s, place))
	for _, p := range []chart.Panel{b.runtimeOfDevice(s, place), b.temperatureOfDevice(s, place), s.rows(place)} {
		if len(p.Series)+len(p.Rows) > 0 {
			c.Panels = append(c.Panels, p)
		}
	}
	var drawn []chart.Panel
	for _, p := range c.Panels {
		if len(p.Rows) == 0 {
			drawn = append(drawn, p)
		}
	}
	n := countRuns(s.groups)
	c.Key = intervalItems(meanText(n), s.t.Curve.Confidence, drawn, noiseOf(s.groups)...)
	if len(c.Key) > 0 && b.hasTemperatures(s) {
		c.Key[0].Text += "; of temperatures the lowest and the highest run"
	}
	c.Key = append(c.Key, s.key(c.Panels[len(c.Panels)-1].Rows)...)
	c.Footer = b.footer(source{runs: ofOneDevice(s.workload, s.device, s.variant), points: n})
	c.Alt = c.Title + "."
	for _, g := range s.groups {
		c.Alt += " " + sentence.Capital(onSupply(g.Supply)) + ":" + spaced(wordsOf(b.ofCurve(s.t.Metric, g))) + spaced(sentence.ToSet(&s.t.Curve, g))
	}
	if s.battery != nil {
		c.Alt += spaced(wordsOf(b.runtime(s.battery)))
	}
	return c
}

// ofCurve are the claims of the page on a curve, in words.
func (b *builder) ofCurve(metric string, g *analysis.CurveGroup) []sentence.Sentence {
	var list []sentence.Sentence
	for _, k := range b.curveClaims(metric, g) {
		list = append(list, sentence.OnCurve(&k))
	}
	return list
}

func suppliesOfGroups(groups []*analysis.CurveGroup) string {
	var list []string
	for _, g := range groups {
		list = append(list, onSupply(g.Supply))
	}
	return sentence.Listed(list, len(list))
}

// chosen is the curve whose advice the picture gives: that on battery, which is what every
// watt empties, else the first.
func (s *summed) chosen() *analysis.CurveGroup {
	for _, g := range s.groups {
		if g.Supply == "battery" {
			return g
		}
	}
	return s.groups[0]
}

// finding is what to take home of the picture.
func (s *summed) finding() string {
	g := s.chosen()
	var parts []string
	if e, told := sentence.MostPerWatt(g); told != "" {
		parts = append(parts, "most per watt at "+stretchWords(e.FromW, e.From, e.ToW, e.To))
	}
	if e := &g.Enough; sentence.EnoughTold(g) != "" && e.ToW.Known() {
		parts = append(parts, fmt.Sprintf("%s of the best at %s", sentence.Percent(e.Share), stretchWords(e.FromW, "", e.ToW, "")))
	}
	if len(parts) > 0 {
		return strings.Join(parts, ", ")
	}
	best := g.Points[0]
	for _, p := range g.Points {
		if p.Is(g.Best.AtW, g.Best.At) {
			best = p
		}
	}
	return sentence.Joined(valueText(best.Mean, best.Lower, best.Upper, unitOr(s.t))+" at "+sentence.Setting(best.SettingW, best.Setting), onSupply(g.Supply))
}

// stretchWords is a stretch of settings, or one.
func stretchWords(fromW analysis.Number, from string, toW analysis.Number, to string) string {
	first, last := sentence.Setting(fromW, from), sentence.Setting(toW, to)
	if first == last {
		return first
	}
	return strings.TrimSuffix(first, " W") + " to " + last
}

func (b *builder) resultOfDevice(s *summed, place settings) chart.Panel {
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: sentence.MetricName(s.t.Metric), Unit: s.t.Curve.Unit}}
	seen := map[string]bool{}
	for _, g := range s.groups {
		c := chart.Series{Name: onSupply(g.Supply), Style: supplyStyle(g.Supply), Joined: true}
		for _, x := range g.Points {
			c.Points = append(c.Points, interval(place.at(x.SettingW, x.Setting), x.Mean, x.Lower, x.Upper))
		}
		p.Series = append(p.Series, c)
		for _, k := range b.curveClaims(s.t.Metric, g) {
			word, x := "dip ", place.at(k.AtW, k.From)
			switch k.Kind {
			case analysis.ClaimDip:
			case analysis.ClaimFall:
				word, x = "falls ", place.at(k.ToW, k.To)
			default:
				continue
			}
			if word += sentence.SignedPercent(float64(k.Diff), 1) + " %"; len(s.groups) > 1 {
				word += " " + onSupply(g.Supply)
			}
			if !seen[word] {
				seen[word] = true
				p.Guides = append(p.Guides, chart.Guide{X: &x, Text: word})
			}
		}
	}
	return p
}

func (b *builder) runtimeOfDevice(s *summed, place settings) chart.Panel {
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: "runtime of a full battery, h", From: new(float64)}}
	if s.battery == nil {
		return p
	}
	c := chart.Series{Name: "on battery", Style: batteryStyle, Joined: true}
	for _, x := range s.battery.Points {
		if x.RuntimeH.Known() && place.has(x.SettingW, x.Setting) {
			c.Points = append(c.Points, interval(place.at(x.SettingW, x.Setting), x.RuntimeH, x.RuntimeLowerH, x.RuntimeUpperH))
		}
	}
	if len(c.Points) > 0 {
		p.Series = []chart.Series{c}
	}
	return p
}

// has tells whether a setting has a place.
func (s settings) has(watts analysis.Number, name string) bool {
	if len(s.names) == 0 {
		return watts.Known()
	}
	return slices.Contains(s.names, sentence.Setting(watts, name))
}

func (b *builder) temperatureOfDevice(s *summed, place settings) chart.Panel {
	p := chart.Panel{X: place.axis(), Y: chart.Axis{Label: b.temperatureLabel(s.groups), From: b.coldest(s.groups)}}
	for _, g := range s.groups {
		if c := b.measuredSeries(g, place, temperature); len(c.Points) > 0 {
			c.Name, c.Style = onSupply(g.Supply), supplyStyle(g.Supply)
			p.Series = append(p.Series, c)
		}
	}
	return p
}

func (b *builder) hasTemperatures(s *summed) bool {
	return slices.ContainsFunc(s.groups, func(g *analysis.CurveGroup) bool {
		return slices.ContainsFunc(b.groupCells(g), func(c measuredCell) bool {
			return !math.IsNaN(c.mean(b, temperature).Y)
		})
	})
}

// rows are what to set, and what is not kept.
func (s *summed) rows(place settings) chart.Panel {
	p := chart.Panel{X: place.axis()}
	g := s.chosen()
	piece := func(name string, from, to chart.Reach, kind chart.PieceKind, style int, words ...string) {
		p.Rows = append(p.Rows, chart.Row{Name: name, Pieces: []chart.Piece{{Reach: chart.Reach{From: from.From, To: to.To}, Kind: kind, Style: style, Words: words}}})
	}
	style := supplyStyle(g.Supply)
	reach := func(w analysis.Number, name string) chart.Reach { return place.reach(place.at(w, name)) }
	if e, told := sentence.MostPerWatt(g); told != "" {
		words := stretchWords(e.FromW, e.From, e.ToW, e.To)
		piece("most per watt", reach(e.FromW, e.From), reach(e.ToW, e.To), chart.PieceRange, style, words)
	}
	if e := &g.Enough; sentence.EnoughTold(g) != "" {
		to, words := e.ToW, stretchWords(e.FromW, "", e.ToW, "")
		if !to.Known() {
			to = g.Points[len(g.Points)-1].SettingW
			words = "at least " + sentence.Watts(float64(e.FromW)) + " W"
		}
		piece(sentence.Percent(e.Share)+" of the best", reach(e.FromW, ""), reach(to, ""), chart.PieceRange, style, words)
	}
	var kept []chart.Row
	for _, g := range s.groups {
		row := chart.Row{Name: "not kept"}
		e := g.Effective
		outside := func(ignored func(w analysis.Number) bool, at analysis.Number) {
			var list []analysis.CurvePoint
			for _, x := range g.Points {
				if ignored(x.SettingW) {
					list = append(list, x)
				}
			}
			if len(list) > 0 {
				w := sentence.Watts(math.Round(10*float64(at))/10) + " W"
				row.Pieces = append(row.Pieces, chart.Piece{Reach: chart.Reach{From: reach(list[0].SettingW, list[0].Setting).From, To: reach(list[len(list)-1].SettingW, list[len(list)-1].Setting).To},
					Kind: chart.PieceKept, Words: []string{"acts as if set to " + w, "acts as " + w, w}})
			}
		}
		if e.FloorW.Known() {
			outside(func(w analysis.Number) bool { return w < e.FromW }, e.FloorW)
		}
		if e.CapW.Known() {
			outside(func(w analysis.Number) bool { return w > e.ToW }, e.CapW)
		}
		if len(row.Pieces) > 0 {
			if len(s.groups) > 1 {
				row.Name += ", " + cmp.Or(g.Supply, "unknown supply")
			}
			kept = append(kept, row)
		}
	}
	if len(kept) == 2 && slices.EqualFunc(kept[0].Pieces, kept[1].Pieces, func(x, y chart.Piece) bool { return x.Reach == y.Reach && x.Words[0] == y.Words[0] }) {
		kept = kept[:1]
		kept[0].Name = "not kept"
	}
	p.Rows = append(p.Rows, kept...)
	return p
}

// key explains the pieces of the rows.
func (s *summed) key(rows []chart.Row) []chart.Item {
	var items []chart.Item
	has := func(kind chart.PieceKind) bool {
		return slices.ContainsFunc(rows, func(r chart.Row) bool { return r.Pieces[0].Kind == kind })
	}
	if g := s.chosen(); has(chart.PieceRange) {
		text := "what to set"
		if len(s.groups) > 1 {
			text += " " + onSupply(g.Supply)
		}
		items = append(items, chart.Item{Symbol: chart.SymbolRange, Style: supplyStyle(g.Supply), Text: text})
	}
	if has(chart.PieceKept) {
		items = append(items, chart.Item{Symbol: chart.SymbolHatch, Text: notKeptWords})
	}
	return items
}

// spaced puts a blank before a text that is not empty.
func spaced(text string) string {
	if text == "" {
		return ""
	}
	return " " + text
}

// valueText is a number with its unit, and no more digits than its interval supports.
func valueText(v, lower, upper analysis.Number, unit string) string {
	s := sentence.WithUncertainty(float64(v), sentence.HalfWidth(lower, upper))
	if unit != "" && s != sentence.Dash {
		s += " " + unit
	}
	return s
}
