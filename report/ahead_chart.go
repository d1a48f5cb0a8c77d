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
	"sweepd/run"
)

// The opening picture: who is ahead where. A row for each workload and supply, and with
// more than two devices for each that is compared, shows over the settings what the error
// budget of the page lets claim.

// mostAheadRows is how many rows one picture holds.
const mostAheadRows = 16

// aheadRow is a row with the comparison that it shows.
type aheadRow struct {
	chart.Row
	c      *analysis.Comparison // as the page may claim it
	claims []*analysis.Claim
	lead   lead
}

// aheadCharts draw who is ahead where, of all comparisons of devices, else of the variants
// of one; none without any. One picture holds all, unless they are very many.
func (b *builder) aheadCharts() []chart.Chart {
	var list []analysis.Comparison
	for _, c := range b.opened {
		if c.Factor != "supply" && slices.ContainsFunc(c.Settings, func(s analysis.SettingComparison) bool { return s.Shared() }) {
			list = append(list, *c)
		}
	}
	if len(list) == 0 {
		return nil
	}
	slices.SortStableFunc(list, func(x, y analysis.Comparison) int { // mains first, as everywhere
		return cmp.Or(cmp.Compare(x.Workload, y.Workload), -cmp.Compare(sentence.OrEmpty(x.Supply), sentence.OrEmpty(y.Supply)))
	})
	place := placeSettings(sharedSettings(list))
	several := severalPairs(list)
	var rows []aheadRow
	for i := range list {
		rows = append(rows, b.aheadRow(&list[i], place, several))
	}
	var charts []chart.Chart
	parts := (len(rows) + mostAheadRows - 1) / mostAheadRows
	for k := range parts {
		part := rows[k*len(rows)/parts : (k+1)*len(rows)/parts]
		which := ""
		if parts > 1 {
			which = fmt.Sprintf(" (%d of %d)", k+1, parts)
		}
		charts = append(charts, b.aheadChart(part, place, several, which))
	}
	return charts
}

func sharedSettings(list []analysis.Comparison) []setting {
	var all []setting
	for _, c := range list {
		for _, s := range c.Settings {
			if s.Shared() {
				all = append(all, setting{s.SettingW, s.Setting})
			}
		}
	}
	return all
}

func (b *builder) aheadChart(rows []aheadRow, place settings, several bool, which string) chart.Chart {
	first := rows[0].c
	p := chart.Panel{X: place.axis()}
	c := chart.Chart{Name: b.unique("who-is-ahead"), Title: aheadTitle(rows, several) + which}
	for i := range rows {
		p.Rows = append(p.Rows, rows[i].Row)
	}
	base := sentence.Against(first.A, first.B)
	if several {
		base = fmt.Sprintf("each against %s (%s = 100 %%)", sentence.Side(first.B), sentence.Side(first.B))
	}
	c.Lines = []string{base + ", by the setting"}
	c.Panels = []chart.Panel{p}
	c.Key = b.aheadKey(rows)
	c.Footer = b.footer(source{runs: func(r *run.Run) bool {
		return slices.ContainsFunc(rows, func(x aheadRow) bool { return b.ofComparison(x.c).runs(r) })
	}})
	c.Alt = c.Title + "."
	for i := range rows {
		c.Alt += " " + rows[i].words()
	}
	return c
}

// aheadKey explains what occurs in the rows.
func (b *builder) aheadKey(rows []aheadRow) []chart.Item {
	has := map[chart.PieceKind]bool{}
	crossed := false
	for _, r := range rows {
		for _, p := range r.Pieces {
			has[p.Kind] = true
		}
		crossed = crossed || len(r.Spots) > 0
	}
	var items []chart.Item
	if has[chart.PieceLead] {
		var seen []string
		for i := range rows {
			c := rows[i].c
			styleA, styleB := b.legend.sideStyles(c)
			for _, side := range []struct {
				name    string
				verdict analysis.Verdict
				style   int
			}{{c.A, analysis.VerdictA, styleA}, {c.B, analysis.VerdictB, styleB}} {
				leads := slices.ContainsFunc(c.Bands, func(x analysis.Band) bool { return x.Verdict == side.verdict })
				if leads && !slices.Contains(seen, side.name) {
					seen = append(seen, side.name)
					items = append(items, chart.Item{Symbol: chart.SymbolAhead, Style: side.style, Text: sentence.Side(side.name) + " ahead"})
				}
			}
		}
	}
	if has[chart.PieceLevel] {
		items = append(items, chart.Item{Symbol: chart.SymbolLevel, Text: "level within " + sentence.Margin(rows[0].c.Margin) + " %"})
	}
	if has[chart.PieceOpen] {
		items = append(items, chart.Item{Symbol: chart.SymbolUnclear, Text: "cannot be told"})
	}
	if has[chart.PieceKept] {
		items = append(items, chart.Item{Symbol: chart.SymbolHatch, Text: "a setting that is not kept: not compared"})
	}
	if crossed {
		items = append(items, chart.Item{Symbol: chart.SymbolPlace, Text: "the lead changes, with its 95 % interval"})
	}
	return append(items, chart.Item{Symbol: chart.SymbolNone, Text: "All that is claimed holds together with 95 %."})
}

// aheadRow draws a comparison as a row.
func (b *builder) aheadRow(c *analysis.Comparison, place settings, several bool) aheadRow {
	r := aheadRow{c: c, claims: b.claimsOf(c), lead: b.leadOf(c)}
	where := sentence.Joined(conditions(c))
	r.Group, r.Name = c.Workload, strings.TrimPrefix(where, "on ")
	if several {
		r.Group, r.Name = sentence.Joined(c.Workload, where), sentence.Side(c.A)
	}
	styleA, styleB := b.legend.sideStyles(c)
	throughout := r.overallAlone()
	for _, s := range stretchesOf(c, place) {
		p := chart.Piece{Reach: s.Reach}
		k := r.band(s.from, s.verdict)
		switch {
		case !s.kept:
			p.Kind, p.Words = chart.PieceKept, []string{"not kept by\n" + b.whoDoesNotKeep(c, s.from), "not\nkept"}
		case k != nil && s.verdict == analysis.VerdictA:
			p.Kind, p.Style, p.Words = chart.PieceLead, styleA, leadWords(c, k, several)
		case k != nil && s.verdict == analysis.VerdictB:
			p.Kind, p.Style, p.Words = chart.PieceLead, styleB, leadWords(c, k, several)
		case k != nil:
			p.Kind, p.Words = chart.PieceLevel, []string{"level within\n" + sentence.Margin(c.Margin) + " %", "level"}
		case throughout != "":
			p.Kind, p.Words = chart.PieceOpen, []string{throughout + ";\ntoo few runs to say where", throughout}
		case slices.ContainsFunc(c.Crossings, func(x analysis.Crossing) bool { return x.LowerW < s.to.SettingW && x.UpperW > s.from.SettingW }):
			p.Kind = chart.PieceOpen // the crossing has words of its own
		default:
			p.Kind, p.Words = chart.PieceOpen, []string{"cannot\nbe told", "?"}
		}
		r.Pieces = append(r.Pieces, p)
	}
	for _, x := range c.Crossings {
		r.Spots = append(r.Spots, chart.Spot{At: float64(x.AtW), Lower: finite(x.LowerW), Upper: finite(x.UpperW), Crossing: true, Words: sentence.Crossing(x)})
	}
	return r
}

// verdictStretch is neighbouring shared settings with one verdict, or that a side does not keep.
type verdictStretch struct {
	from, to analysis.SettingComparison
	verdict  analysis.Verdict
	kept     bool
	chart.Reach
}

// stretchesOf are the stretches of a comparison in a picture. They meet between settings; but
// where the lead changes at a place that is told, the colours of the sides end there, or where
// settings between them are undecided at the ends of its interval.
func stretchesOf(c *analysis.Comparison, place settings) []verdictStretch {
	var list []verdictStretch
	for _, s := range c.Settings {
		if !s.Shared() {
			continue
		}
		at := place.reach(place.at(s.SettingW, s.Setting))
		if n := len(list); n > 0 {
			last := &list[n-1]
			if kept := s.Counts(); kept == last.kept && (!kept || s.Verdict == last.verdict) {
				last.to, last.To = s, at.To
				continue
			}
		}
		list = append(list, verdictStretch{s, s, s.Verdict, s.Counts(), at})
	}
	for _, x := range c.Kept().Crossings {
		before, behind := -1, -1
		for i := range list {
			if s := &list[i]; !s.leads() {
				continue
			}
			if list[i].to.SettingW <= x.AtW {
				before = i
			} else if list[i].from.SettingW >= x.AtW && behind < 0 {
				behind = i
			}
		}
		if before < 0 || behind < 0 || list[before].verdict == list[behind].verdict {
			continue
		}
		end, begin := float64(x.AtW), float64(x.AtW)
		if behind > before+1 {
			end, begin = list[before].To, list[behind].From
			if x.LowerW.Known() {
				end = min(max(float64(x.LowerW), float64(list[before].to.SettingW)), list[before].To)
			}
			if x.UpperW.Known() {
				begin = max(min(float64(x.UpperW), float64(list[behind].from.SettingW)), list[behind].From)
			}
		}
		list[before].To, list[before+1].From = end, end
		list[behind-1].To, list[behind].From = begin, begin
	}
	return list
}

// leads tells whether a side is ahead in a stretch.
func (s *verdictStretch) leads() bool {
	return s.kept && (s.verdict == analysis.VerdictA || s.verdict == analysis.VerdictB)
}

// claimsOf are the claims of the page on a comparison.
func (b *builder) claimsOf(c *analysis.Comparison) []*analysis.Claim {
	var list []*analysis.Claim
	for i := range b.study.Claims {
		k := &b.study.Claims[i]
		if k.Factor == c.Factor && k.Metric == c.Metric && k.Workload == c.Workload && k.A == c.A && k.B == c.B && k.At == c.At && k.Per == c.Per &&
			sameText(k.Device, c.Device) && sameText(k.Supply, c.Supply) && sameText(k.Variant, c.Variant) {
			list = append(list, k)
		}
	}
	return list
}

func sameText(a, b *string) bool {
	return (a == nil) == (b == nil) && sentence.OrEmpty(a) == sentence.OrEmpty(b)
}

// band is the claim on the band that begins at a setting; nil where none is claimed.
func (r *aheadRow) band(from analysis.SettingComparison, v analysis.Verdict) *analysis.Claim {
	for _, k := range r.claims {
		if k.Kind == analysis.ClaimBand && k.Verdict == v && from.Is(k.FromW, k.From) {
			return k
		}
	}
	return nil
}

// overallAlone says what is claimed of the mean over all settings where no single setting is
// decided; "" where one is, or nothing is claimed.
func (r *aheadRow) overallAlone() string {
	for _, k := range r.claims {
		if k.Kind == analysis.ClaimBand {
			return ""
		}
	}
	for _, k := range r.claims {
		switch {
		case k.Kind != analysis.ClaimOverall:
		case k.Verdict == analysis.VerdictTie:
			return "level within " + sentence.Margin(r.c.Margin) + " % on average"
		default:
			return sentence.Side(r.c.A) + " about " + percentOff(k) + " " + aheadOrBehind(k) + " throughout"
		}
	}
	return ""
}

// percentOff is the size of a claim's difference, a/b - 1.
func percentOff(k *analysis.Claim) string {
	return sentence.Fixed(math.Abs(100*float64(k.Diff)), sentence.PercentPlaces(k.Lower, k.Upper)) + " %"
}

func aheadOrBehind(k *analysis.Claim) string {
	if k.Verdict == analysis.VerdictB {
		return "behind"
	}
	return "ahead"
}

// leadWords are the words of a band: who is ahead, and how far a is from b, a/b - 1, which is
// the last to go. Where the row is called like a, its name goes without saying.
func leadWords(c *analysis.Comparison, k *analysis.Claim, named bool) []string {
	places := sentence.PercentPlaces(k.Lower, k.Upper)
	n := minus(sentence.SignedPercent(float64(k.Diff), places) + " %")
	whole := n + minus(sentence.Percents(k.Lower, k.Upper, places))
	short := strings.ReplaceAll(n, " ", "")
	if named {
		return []string{whole, n, short}
	}
	a, who := sentence.Side(c.A), sentence.Winner(c, k.Verdict)
	return []string{who + " ahead:\n" + a + " " + whole, who + " ahead:\n" + a + " " + n, a + " " + n, a + "\n" + n, n, short}
}

// whoDoesNotKeep names the side that draws other watts than a setting asks for, or both.
func (b *builder) whoDoesNotKeep(c *analysis.Comparison, s analysis.SettingComparison) string {
	var who []string
	for _, side := range []string{c.A, c.B} {
		if g := b.curveOfSide(c, side); g != nil && (s.SettingW < g.Effective.FromW || s.SettingW > g.Effective.ToW) {
			who = append(who, sentence.Side(side))
		}
	}
	switch len(who) {
	case 0:
		return "one side"
	case 2:
		return "both"
	}
	return who[0]
}

// curveOfSide is the curve of a device that is a side of a comparison; nil where there is
// none.
func (b *builder) curveOfSide(c *analysis.Comparison, device string) *analysis.CurveGroup {
	for i := range b.study.Topics {
		t := &b.study.Topics[i]
		if t.Metric != c.Metric {
			continue
		}
		for k := range t.Curve.Groups {
			g := &t.Curve.Groups[k]
			if g.Device == device && g.Workload == c.Workload && matches(c.Supply, g.Supply) && matches(c.Variant, g.Variant) {
				return g
			}
		}
	}
	return nil
}

// words say what a row shows.
func (r *aheadRow) words() string {
	c := r.c
	var parts []string
	for _, k := range r.claims {
		where := sentence.Range(sentence.Place(c, k.FromW, k.From), sentence.Place(c, k.ToW, k.To))
		switch {
		case k.Kind == analysis.ClaimCrossing:
			parts = append(parts, "the lead changes at "+sentence.Crossing(analysis.Crossing{AtW: k.AtW, LowerW: k.FromW, UpperW: k.ToW}))
		case k.Kind != analysis.ClaimBand:
		case k.Verdict == analysis.VerdictTie:
			parts = append(parts, where+" level within "+sentence.Margin(c.Margin)+" %")
		default:
			parts = append(parts, fmt.Sprintf("%s %s is %s by %s%s", where, sentence.Side(c.A), aheadOrBehind(k), percentOff(k), interval100(k)))
		}
	}
	if text := r.overallAlone(); text != "" {
		parts = append(parts, text+"; too few runs to say where")
	}
	if len(parts) == 0 {
		parts = append(parts, "it cannot be told who is ahead")
	}
	return sentence.Joined(r.Group, r.Name) + ": " + strings.Join(parts, "; ") + "."
}

// interval100 is the interval of a claim in percent, of the size of the difference.
func interval100(k *analysis.Claim) string {
	lower, upper := k.Lower, k.Upper
	if k.Diff < 0 {
		lower, upper = -upper, -lower
	}
	return sentence.Percents(lower, upper, sentence.PercentPlaces(lower, upper))
}

// aheadTitle is what the rows say together.
func aheadTitle(rows []aheadRow, several bool) string {
	var leaders []string
	tie, over, crossing, open, single := false, map[analysis.Verdict]string{}, 0, 0, false
	var low, high analysis.Number
	flips, orders := map[string]bool{}, make([]string, len(rows))
	for i := range rows {
		r := &rows[i]
		order, l := "", &r.lead // a lone setting is in the picture, but leads to no title
		single = single || len(l.lone) > 0
		for i := range l.bands {
			k := &l.bands[i]
			if k.Verdict == analysis.VerdictTie {
				tie = true
				continue
			}
			name := sentence.Winner(r.c, k.Verdict)
			if !slices.Contains(leaders, name) {
				leaders = append(leaders, name)
			}
			if !strings.HasSuffix(order, name+"\n") {
				order += name + "\n"
			}
		}
		for _, k := range r.claims {
			if k.Kind == analysis.ClaimCrossing {
				if crossing++; crossing == 1 {
					low, high = k.FromW, k.ToW
				}
				low, high = min(low, k.FromW), max(high, k.ToW)
			}
		}
		orders[i] = order
		if strings.Count(order, "\n") > 1 {
			flips[order] = true
		}
		if len(l.bands) == 0 {
			open++
			if k := l.overall; k != nil {
				verdict := k.Verdict
				if sentence.WithinMargin(r.c, k.Lower, k.Upper) {
					verdict = analysis.VerdictTie
				}
				if len(rows) == 1 && len(l.lone) == 0 {
					over[verdict] = r.overallAlone()
					if k.Verdict == analysis.VerdictTie {
						over[verdict] = r.wholeWords(verdict) + r.overallPlace()
					}
				}
				over[verdict] = cmp.Or(over[verdict], r.wholeWords(verdict))
			}
		}
	}
	a, base := sentence.Side(rows[0].c.A), sentence.Side(rows[0].c.B)
	if several {
		a = "another"
	}
	switch {
	case len(leaders) == 0 && !tie && !several && len(over) == 1:
		for _, text := range over {
			return text
		}
	case len(leaders) == 0 && single:
		return "Whether " + a + " or " + base + " is ahead can be told at single settings only"
	case len(leaders) == 0 && tie:
		return a + " and " + base + " are level wherever it can be told"
	case len(leaders) == 0:
		return "Whether " + a + " or " + base + " is ahead cannot be told at any setting"
	case len(leaders) == 1 && open == 0 && !tie && !several && commonBand(rows, leaders[0]) != "":
		return leaders[0] + " is ahead " + commonBand(rows, leaders[0])
	case len(leaders) == 1 && open == 0 && !tie:
		return leaders[0] + " is ahead wherever a difference can be told"
	case len(leaders) == 1:
		return leaders[0] + " is ahead where a difference can be told"
	case !several && len(flips) == 1 && crossing > 0:
		for order := range flips {
			names := strings.Split(strings.TrimSuffix(order, "\n"), "\n")
			if text := commonBands(rows, names); len(names) == 2 && text != "" {
				return text
			}
			if len(names) == 2 {
				between := fmt.Sprintf("between %.0f and %.0f W", math.Floor(float64(low)), math.Ceil(float64(high)))
				return fmt.Sprintf("%s is ahead at low power, %s at high: the lead changes %s", names[0], names[1], between)
			}
		}
	case several:
		return sentence.Listed(leaders, 3) + " each lead somewhere: it depends on workload, supply and setting"
	}
	return "Which is ahead depends on " + sentence.Listed(dependsOn(rows, orders), 3)
}

// dependsOn are what changes who leads: the order of the leaders differs between rows that
// are otherwise the same, or changes within one.
func dependsOn(rows []aheadRow, orders []string) []string {
	var workload, supply, setting bool
	for i := range rows {
		setting = setting || strings.Count(orders[i], "\n") > 1
		for k := range rows[:i] {
			x, y := rows[i].c, rows[k].c
			if orders[i] == orders[k] || orders[i] == "" || orders[k] == "" {
				continue
			}
			workload = workload || x.Workload != y.Workload
			supply = supply || !sameText(x.Supply, y.Supply) && x.Workload == y.Workload
		}
	}
	var list []string
	for _, d := range []struct {
		is   bool
		name string
	}{{workload, "the workload"}, {supply, "the supply"}, {setting, "the setting"}} {
		if d.is {
			list = append(list, d.name)
		}
	}
	if len(list) == 0 {
		return []string{"the conditions"}
	}
	return list
}

// overallPlace says over which settings the mean is, where that is not all of them.
func (r *aheadRow) overallPlace() string {
	for _, k := range r.claims {
		if k.Kind == analysis.ClaimOverall && r.c.Kept().Part {
			return " " + sentence.Range(sentence.Place(r.c, k.FromW, k.From), sentence.Place(r.c, k.ToW, k.To))
		}
	}
	return ""
}

// wholeWords say what is claimed of the mean over the settings, where no setting leads to a
// title.
func (r *aheadRow) wholeWords(verdict analysis.Verdict) string {
	how := "; too few runs to say where"
	if len(r.lead.lone) > 0 {
		how = "; hardly a setting tells by itself"
	}
	if verdict == analysis.VerdictTie {
		return sentence.Side(r.c.A) + " and " + sentence.Side(r.c.B) + " are level within " + sentence.Margin(r.c.Margin) + " % on average"
	}
	return sentence.Winner(r.c, verdict) + " is ahead on the whole" + how
}

// commonBand is where one side is ahead in all rows, of which each has one band: "at 10 W";
// "" where there is no such place.
func commonBand(rows []aheadRow, name string) string {
	words := ""
	for i := range rows {
		l := &rows[i].lead
		if len(l.bands) != 1 {
			return ""
		}
		if text := l.places.words(l.bands[0]); i == 0 {
			words = text
		} else if text != words {
			_, at, _ := strings.Cut(commonBands(rows, []string{name}), " is ahead ")
			return at
		}
	}
	return words
}

// commonBands says where each of one or two is ahead in all rows: from the latest beginning of its
// bands to their earliest end; "" where there is no such place.
func commonBands(rows []aheadRow, names []string) string {
	var parts []string
	for _, name := range names {
		from, to := math.Inf(-1), math.Inf(1)
		for i := range rows {
			for _, k := range rows[i].lead.bands {
				if sentence.Winner(rows[i].c, k.Verdict) == name {
					from, to = max(from, float64(k.FromW)), min(to, float64(k.ToW))
				}
			}
		}
		if !(from <= to) || math.IsInf(from, 0) || math.IsInf(to, 0) {
			return ""
		}
		parts = append(parts, stretchWords(analysis.Number(from), "", analysis.Number(to), ""))
	}
	text := names[0] + " is ahead at " + parts[0]
	for i, name := range names[1:] {
		text += ", " + name + " at " + parts[i+1]
	}
	return text
}
