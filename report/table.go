package report

import (
	"fmt"
	"math"
	"strconv"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Table is a table of the page. Numbers are shown as their interval supports and
// kept in full beside.
type Table struct {
	Caption string
	Heads   []Head
	Rows    [][]Cell
}

// Head is the head of a column.
type Head struct {
	Text   string
	Number bool
}

// Cell is one cell. Exact is the number in full, empty for text and for what is
// not known.
type Cell struct{ Text, Exact string }

func text(s string) Cell { return Cell{Text: s} }

// number shows a number with so many decimals.
func number(v analysis.Number, decimals int) Cell {
	return Cell{sentence.Fixed(float64(v), decimals), exact(v)}
}

// percent shows a ratio in percent; Exact is the ratio.
func percent(v analysis.Number, decimals int) Cell {
	return Cell{sentence.SignedPercent(float64(v), decimals), exact(v)}
}

func significant(v analysis.Number) Cell {
	return Cell{sentence.Significant(float64(v)), exact(v)}
}

func count(n int) Cell { return Cell{strconv.Itoa(n), strconv.Itoa(n)} }

// exact is the shortest text that reads back as the same number.
func exact(v analysis.Number) string {
	if !v.Known() {
		return ""
	}
	return strconv.FormatFloat(float64(v), 'g', -1, 64)
}

func settingCell(watts analysis.Number, name string) Cell {
	return Cell{sentence.Setting(watts, name), exact(watts)}
}

func intervalHeads(confidence float64) [2]Head {
	return [2]Head{{fmt.Sprintf("%.0f %% from", 100*confidence), true}, {"to", true}}
}

func compareTable(c *analysis.Comparison) Table {
	bounds := intervalHeads(c.Confidence)
	t := Table{
		Caption: fmt.Sprintf("%s; margin %s %%; bounds hold at all settings together", sentence.CompareTitle(c), sentence.Margin(c.Margin)),
		Heads: []Head{{"setting", true}, {"runs a", true}, {"runs b", true}, {"mean a", true}, {"mean b", true}, {"a/b − 1, %", true},
			bounds[0], bounds[1], {"p, adjusted", true}, {"ahead", false}, {"more runs needed", true}},
	}
	n := len(c.Settings)
	a, b, ua, ub := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	places := 0
	for i, s := range c.Settings {
		a[i], b[i] = float64(s.MeanA), float64(s.MeanB)
		ua[i], ub[i] = a[i]*float64(c.NoiseA)/math.Sqrt(float64(s.NA)), b[i]*float64(c.NoiseB)/math.Sqrt(float64(s.NB))
		places = max(places, sentence.PercentPlaces(s.Lower, s.Upper))
	}
	meanA, meanB := sentence.ColumnDecimals(a, ua, 3), sentence.ColumnDecimals(b, ub, 3)
	for _, s := range c.Settings {
		more := text("")
		if s.MoreRuns != nil && *s.MoreRuns > 0 {
			more = count(*s.MoreRuns)
		}
		t.Rows = append(t.Rows, []Cell{settingCell(s.SettingW, s.Setting), count(s.NA), count(s.NB), number(s.MeanA, meanA), number(s.MeanB, meanB),
			percent(s.Diff, places), percent(s.Lower, places), percent(s.Upper, places), probability(s.PAdjusted), text(sentence.Winner(c, s.Verdict)), more})
	}
	return t
}

// probability shows a p of at least 0.001.
func probability(p analysis.Number) Cell {
	c := number(p, 3)
	if p.Known() && p < 0.001 {
		c.Text = "< 0.001"
	}
	return c
}

// noiseText says how much one run differs from the next.
func noiseText(noise analysis.Number) string {
	if !noise.Known() {
		return ""
	}
	return "; one run differs from the next by " + sentence.Fixed(100*float64(noise), 2) + " % (standard deviation)"
}

func curveTable(r *analysis.CurveResult, g *analysis.CurveGroup) Table {
	bounds := intervalHeads(r.Confidence)
	t := Table{
		Caption: sentence.Group(g.Workload, g.Device, g.Supply, g.Variant) + ": " + sentence.CurveMetric(r) + noiseText(g.Noise),
		Heads: []Head{{"setting", true}, {"runs", true}, {"mean", true}, bounds[0], bounds[1], {"package W", true}, {"whole device W", true},
			{"per package W", true}, {"per whole-device W", true}, {"per set W", true}},
	}
	values, halves := make([]float64, len(g.Points)), make([]float64, len(g.Points))
	for i, x := range g.Points {
		values[i], halves[i] = float64(x.Mean), sentence.HalfWidth(x.Lower, x.Upper)
	}
	places := sentence.ColumnDecimals(values, halves, 3)
	for _, x := range g.Points {
		if r.Better == "lower" { // a time per watt says nothing: the table of efficiency has runs per kJ
			x.PerPackageW, x.PerSystemW, x.PerSettingW = analysis.Unknown(), analysis.Unknown(), analysis.Unknown()
		}
		t.Rows = append(t.Rows, []Cell{settingCell(x.SettingW, x.Setting), count(x.N), number(x.Mean, places), number(x.Lower, places), number(x.Upper, places),
			significant(x.PackageW), significant(x.SystemW), significant(x.PerPackageW), significant(x.PerSystemW), significant(x.PerSettingW)})
	}
	return t.withoutEmpty()
}

func efficiencyTable(t *Topic, g *analysis.CurveGroup) Table {
	unit, factor := efficiencyUnit(t)
	out := Table{
		Caption: sentence.Group(g.Workload, g.Device, g.Supply, g.Variant) + ": " + unit,
		Heads:   []Head{{"watts", false}, {"setting", true}, {"runs", true}, {"mean", true}, {"95 % from", true}, {"to", true}, {"plateau", false}},
	}
	for _, e := range g.Efficiencies {
		values, halves := make([]float64, len(e.Points)), make([]float64, len(e.Points))
		for i, x := range e.Points {
			values[i], halves[i] = float64(factor*x.Value), sentence.HalfWidth(factor*x.Lower, factor*x.Upper)
		}
		places := sentence.ColumnDecimals(values, halves, 4)
		for _, x := range e.Points {
			plateau := ""
			if x.Plateau {
				plateau = "yes"
			}
			out.Rows = append(out.Rows, []Cell{text("per " + sentence.Denominator[e.By]), settingCell(x.SettingW, x.Setting), count(x.N),
				number(factor*x.Value, places), number(factor*x.Lower, places), number(factor*x.Upper, places), text(plateau)})
		}
	}
	return out
}

func batteryTable(r *analysis.BatteryResult, g *analysis.BatteryGroup) Table {
	bounds := intervalHeads(r.Confidence)
	t := Table{
		Caption: sentence.BatteryTitle(r, g),
		Heads:   []Head{{"setting", true}, {"runs", true}, {"whole device W", true}, bounds[0], bounds[1], {"runtime h", true}, bounds[0], bounds[1]},
	}
	n := len(g.Points)
	watts, wattHalves, hours, hourHalves := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i, x := range g.Points {
		watts[i], wattHalves[i] = float64(x.SystemW), sentence.HalfWidth(x.Lower, x.Upper)
		hours[i], hourHalves[i] = float64(x.RuntimeH), sentence.HalfWidth(x.RuntimeLowerH, x.RuntimeUpperH)
	}
	w, h := sentence.ColumnDecimals(watts, wattHalves, 2), sentence.ColumnDecimals(hours, hourHalves, 2)
	for _, x := range g.Points {
		t.Rows = append(t.Rows, []Cell{settingCell(x.SettingW, x.Setting), count(x.N), number(x.SystemW, w), number(x.Lower, w), number(x.Upper, w),
			number(x.RuntimeH, h), number(x.RuntimeLowerH, h), number(x.RuntimeUpperH, h)})
	}
	return t.withoutEmpty()
}

func framesTable(list []Frames) Table {
	t := Table{Caption: "frame times in ms: percentiles, between two frames in proportion (Hyndman & Fan 1996, type 7)", Heads: []Head{{"run", false}, {"frames", true}}}
	for _, q := range frameQuantiles {
		t.Heads = append(t.Heads, Head{fmt.Sprintf("%g %%", 100*q), true})
	}
	for _, f := range list {
		ranked := f.Times.Ranked()
		row := []Cell{text(f.Name), count(int(ranked.Frames()))}
		for _, q := range frameQuantiles {
			row = append(row, number(analysis.Number(1000*ranked.Quantile(q)), 2))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// withoutEmpty leaves out columns of numbers of which none is known.
func (t Table) withoutEmpty() Table {
	out := Table{Caption: t.Caption}
	var kept []int
	for k, h := range t.Heads {
		empty := h.Number
		for _, row := range t.Rows {
			empty = empty && row[k].Exact == "" && row[k].Text == sentence.Dash
		}
		if !empty {
			kept = append(kept, k)
			out.Heads = append(out.Heads, h)
		}
	}
	for _, row := range t.Rows {
		var cells []Cell
		for _, k := range kept {
			cells = append(cells, row[k])
		}
		out.Rows = append(out.Rows, cells)
	}
	return out
}
