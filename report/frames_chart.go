package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/frames"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/report/table"
)

// frameQuantiles are marked in the chart of frame times and listed in their table.
var frameQuantiles = []float64{0.5, 0.95, 0.99, 0.999}

// rarestShare is the smallest share of frames that is drawn, percent: one in two
// thousand. What is rarer is a handful of frames even in a long run.
const rarestShare = 0.05

// framesCharts draw how often frames took how long: the share of frames that took at
// least a time, on a scale where one in a thousand can be seen.
func (b *builder) framesCharts(list []Frames) []chart.Chart {
	list = slices.DeleteFunc(slices.Clone(list), func(f Frames) bool { return f.Times.Frames() < 2 })
	charts := inParts(list, b.framesChart)
	longest := 0.0
	for _, c := range charts {
		longest = max(longest, c.Panels[0].ReachX().To)
	}
	for _, c := range charts {
		c.Panels[0].X.Also = []float64{longest}
	}
	return charts
}

func (b *builder) framesChart(list []Frames, which string) chart.Chart {
	p := chart.Panel{
		X: chart.Axis{Label: "frame time, ms", From: new(float64)},
		Y: chart.Axis{Label: "share of frames that took at least so long, %", Log: true},
	}
	c := chart.Chart{Name: b.unique("frame-times"), Title: framesTitle(list) + which}
	c.Alt = c.Title + "."
	var counts []string
	for i, f := range list {
		ranked := f.Times.Ranked()
		frames := sentence.Counted(int(ranked.Frames()), "frame")
		counts = append(counts, f.Name+": "+frames)
		s := chart.Series{Name: f.Name, Style: b.frameStyle(f.Name, i), Joined: true, Bare: true}
		for _, q := range exceedance(ranked) {
			if 100*q[1] >= rarestShare {
				s.Points = append(s.Points, flat(q[0], 100*q[1]))
			}
		}
		p.Series = append(p.Series, s)
		c.Alt += " " + f.Name + ", " + frames + ":"
		for _, q := range frameQuantiles {
			c.Alt += fmt.Sprintf(" %g %% within %s ms;", 100*q, sentence.Fixed(1000*ranked.Quantile(q), 1))
		}
	}
	for _, q := range frameQuantiles {
		y := 100 * (1 - q)
		p.Guides = append(p.Guides, chart.Guide{Y: &y, Text: fmt.Sprintf("1 in %.0f", 1/(1-q))})
	}
	low, high := rarestShare, 100.0
	p.Y.From, p.Y.To = &low, &high
	c.Panels = []chart.Panel{p}
	c.Lines = []string{"Frame times, ms: the share of frames that took at least so long. " + strings.Join(counts, ", ") + "; no interval: every frame is counted"}
	return c
}

// framesTitle says how long the slow frames took.
func framesTitle(list []Frames) string {
	const slow = 0.99
	var parts []string
	for _, f := range list {
		parts = append(parts, sentence.Fixed(1000*f.Times.Ranked().Quantile(slow), 1)+" ms ("+f.Name+")")
	}
	return "1 frame in 100 takes longer than " + sentence.Listed(parts, mostPlaces)
}

// frameStyle is a device's own style where frame times are called like it.
func (b *builder) frameStyle(name string, i int) int {
	if k := slices.Index(b.legend.groups, name); k >= 0 {
		return b.legend.fixed[k]
	}
	return len(b.legend.groups) + i
}

// exceedance is the share of frames that took at least a time, ms, at as many times as
// can be seen.
func exceedance(r frames.Ranked) [][2]float64 {
	n := r.Frames()
	var out [][2]float64
	const steps = 240
	last := int64(0)
	for k := range steps + 1 {
		// Even steps in the logarithm of the share, where the rare ones are.
		share := math.Pow(float64(n), -float64(k)/steps)
		rank := min(n, n-int64(math.Ceil(share*float64(n)))+1)
		if rank == last {
			continue
		}
		last = rank
		out = append(out, [2]float64{1000 * r.At(rank), float64(n-rank+1) / float64(n)})
	}
	return out
}

// framesTable is how many frames there were, and the percentiles of their times.
func framesTable(list []Frames) *table.Table {
	t := &table.Table{Caption: "frame times in ms: percentiles, between two frames in proportion (Hyndman & Fan 1996, type 7)",
		Columns: []table.Column{{Head: "run"}, {Head: "frames", Right: true}}}
	for _, q := range frameQuantiles {
		t.Columns = append(t.Columns, table.Column{Head: fmt.Sprintf("%g %%", 100*q), Right: true})
	}
	for _, f := range list {
		ranked := f.Times.Ranked()
		row := []table.Cell{table.Text(f.Name), table.Count(int(ranked.Frames()))}
		for _, q := range frameQuantiles {
			row = append(row, table.Number(analysis.Number(1000*ranked.Quantile(q)), 2))
		}
		t.Row(row...)
	}
	return t
}
