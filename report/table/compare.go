package table

import (
	"fmt"
	"math"
	"strings"

	"github.com/rivo/uniseg"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Compare is a comparison setting by setting.
func Compare(c *analysis.Comparison) *Table {
	axis := axisHead(c)
	headA, headB := meanHeads(c)
	title := sentence.CompareTitle(c)
	t := &Table{
		Caption: title, PageCaption: fmt.Sprintf("%s; margin %s %%; bounds hold at all settings together", title, sentence.Margin(c.Margin)),
		Columns: []Column{
			{Head: axis, PageHead: "setting", Right: true, Least: max(6, len(axis))},
			{Head: "runs", Only: Terminal, Right: true}, {Head: "runs a", Only: Page, Right: true}, {Head: "runs b", Only: Page, Right: true},
			{Head: headA, PageHead: "mean a", Right: true}, {Head: headB, PageHead: "mean b", Right: true},
			{Head: "a/b %", PageHead: "a/b − 1, %", Right: true}, {Head: lowerHead(c.Confidence), Right: true}, {Head: upperHead, Right: true},
			{Head: "p, adjusted", Only: Page, Right: true}, {Head: "ahead", Least: 7}, {Head: "more runs", PageHead: "more runs needed", Right: true, Optional: Terminal},
		},
	}
	means, places := compareDecimals(c), 0
	for _, s := range c.Settings {
		places = max(places, sentence.PercentPlaces(s.Lower, s.Upper))
	}
	for _, s := range c.Settings {
		at := setting(s.SettingW, s.Setting)
		if s.SettingW.Known() {
			at.Text = strings.TrimSuffix(sentence.Place(c, s.SettingW, s.Setting), " W") // measured watts in line with each other
		}
		more := Text("")
		if s.MoreRuns != nil && *s.MoreRuns > 0 {
			more = Count(*s.MoreRuns)
		}
		t.Row(at, Text(fmt.Sprintf("%d/%d", s.NA, s.NB)), Count(s.NA), Count(s.NB), means.cell(s.MeanA, means.a), means.cell(s.MeanB, means.b),
			percent(s.Diff, places), percent(s.Lower, places), percent(s.Upper, places), probability(s.PAdjusted),
			Cell{Text: sentence.Winner(c, s.Verdict), Tone: verdictTone(s.Verdict)}, more)
	}
	if kept := c.Kept(); kept.Overall != nil && len(c.Settings) > 1 {
		t.mean(&kept, places)
	}
	return t
}

// mean adds the mean of the differences, over the settings that both sides keep to.
func (t *Table) mean(kept *analysis.Comparison, places int) {
	o := kept.Overall
	t.Row(Text("mean"), Text(""), Text(""), Text(""), Text(""), Text(""), percent(o.Diff, places), percent(o.Lower, places), percent(o.Upper, places),
		Text(""), Cell{Text: sentence.Winner(kept, o.Verdict), Tone: verdictTone(o.Verdict)})
}

// headWidth is what the head of a side's column may take, less where the axis
// needs room.
func headWidth(c *analysis.Comparison) int {
	if axisHead(c) != "W" {
		return 9
	}
	return 13
}

// meanHeads name the sides' columns by side and unit, or by their letters where
// one would be too long.
func meanHeads(c *analysis.Comparison) (a, b string) {
	unit := " " + c.Unit
	if c.Per != "" || c.Unit == "" {
		unit = ""
	}
	if a, b = c.A+unit, c.B+unit; max(uniseg.StringWidth(a), uniseg.StringWidth(b)) <= headWidth(c) {
		return a, b
	}
	if a, b = "a"+unit, "b"+unit; unit != "" && uniseg.StringWidth(a) <= headWidth(c) {
		return a, b
	}
	return "mean a", "mean b"
}

func axisHead(c *analysis.Comparison) string {
	switch c.At {
	case analysis.AtPackage:
		return "package W"
	case analysis.AtSystem:
		return "system W"
	}
	return "W"
}

// meanDecimals are the decimals of the columns of means. On a terminal both sides have
// the same, as the interval of their difference supports; on the page each has what its
// own noise supports.
type meanDecimals struct{ both, a, b int }

func (d meanDecimals) cell(mean analysis.Number, own int) Cell {
	return Cell{Text: sentence.Quantity(float64(mean), d.both), PageText: sentence.Fixed(float64(mean), own), Exact: exact(mean)}
}

func compareDecimals(c *analysis.Comparison) meanDecimals {
	var both, uncertainties, a, ua, b, ub []float64
	for _, s := range c.Settings {
		meanA, meanB := float64(s.MeanA), float64(s.MeanB)
		half := sentence.HalfWidth(s.Lower, s.Upper) / math.Sqrt2 // of one side, were both alike
		both, uncertainties = append(both, meanA, meanB), append(uncertainties, meanA*half, meanB*half)
		a, ua = append(a, meanA), append(ua, meanA*float64(c.NoiseA)/math.Sqrt(float64(s.NA)))
		b, ub = append(b, meanB), append(ub, meanB*float64(c.NoiseB)/math.Sqrt(float64(s.NB)))
	}
	return meanDecimals{sentence.ColumnDecimals(both, uncertainties, 6), sentence.ColumnDecimals(a, ua, 3), sentence.ColumnDecimals(b, ub, 3)}
}

func verdictTone(v analysis.Verdict) sentence.Tone {
	switch v {
	case analysis.VerdictA, analysis.VerdictB:
		return sentence.Good
	case analysis.VerdictUnclear:
		return sentence.Doubtful
	}
	return sentence.Plain
}
