package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// frameQuantiles are marked in the chart of frame times.
var frameQuantiles = []float64{0.5, 0.95, 0.99, 0.999}

// rarestShare is the smallest share of frames that is drawn, percent: one in two
// thousand. What is rarer is a handful of frames even in a long run.
const rarestShare = 0.05

// framesCharts draw how often frames took how long: the share of frames that took at
// least a time, on a scale where one in a thousand can be seen.
func (b *builder) framesCharts(list []Frames) []chart.Chart {
	list = slices.DeleteFunc(slices.Clone(list), func(f Frames) bool { return len(sortedFrames(f)) < 2 })
	var charts []chart.Chart
	parts := evenly(list)
	for i, part := range parts {
		c := b.framesChart(part)
		c.Title = partTitle(c.Title, i, len(parts))
		c.Alt = c.Title + "." + c.Alt
		charts = append(charts, c)
	}
	longest := 0.0
	for _, c := range charts {
		longest = max(longest, longestDrawn(c.Panels[0].Series))
	}
	for _, c := range charts {
		c.Panels[0].X.Also = []float64{longest}
	}
	return charts
}

func longestDrawn(list []chart.Series) float64 {
	longest := 0.0
	for _, s := range list {
		for _, q := range s.Points {
			longest = max(longest, q.X)
		}
	}
	return longest
}

func (b *builder) framesChart(list []Frames) chart.Chart {
	p := chart.Panel{
		X: chart.Axis{Label: "frame time, ms", From: new(float64)},
		Y: chart.Axis{Label: "share of frames that took at least so long, %", Log: true},
	}
	c := chart.Chart{Name: b.unique("frame-times"), Title: "Frame times: how many took how long"}
	var counts []string
	for i, f := range list {
		sorted := sortedFrames(f)
		counts = append(counts, f.Name+": "+amount(len(sorted), "frame"))
		s := chart.Series{Name: f.Name, Look: i, Joined: true, Bare: true}
		for _, q := range exceedance(sorted) {
			if 100*q[1] >= rarestShare {
				s.Points = append(s.Points, flat(q[0], 100*q[1]))
			}
		}
		p.Series = append(p.Series, s)
		c.Alt += " " + f.Name + ", " + amount(len(sorted), "frame") + ":"
		for _, share := range frameQuantiles {
			c.Alt += fmt.Sprintf(" %g %% within %s ms;", 100*share, sentence.Fixed(quantile(sorted, share), 1))
		}
	}
	for _, share := range frameQuantiles {
		y := 100 * (1 - share)
		p.Guides = append(p.Guides, chart.Guide{Y: &y, Text: fmt.Sprintf("1 in %.0f", 1/(1-share))})
	}
	low, high := rarestShare, 100.0
	p.Y.From, p.Y.To = &low, &high
	c.Panels = []chart.Panel{p}
	c.Lines = []string{strings.Join(counts, ", ") + "; no interval: every frame is counted"}
	return c
}

func sortedFrames(f Frames) []float64 {
	sorted := slices.DeleteFunc(slices.Clone(f.Milliseconds), func(v float64) bool { return !(v > 0) || math.IsInf(v, 0) })
	slices.Sort(sorted)
	return sorted
}

// quantile is the smallest value that at least the share of the frames do not
// exceed [the inverse of the empirical distribution, Hyndman & Fan 1996, type 1].
func quantile(sorted []float64, share float64) float64 {
	return stat.Quantile(share, stat.Empirical, sorted, nil)
}

// exceedance is the share of frames that took at least a time, at as many times as can
// be seen.
func exceedance(sorted []float64) [][2]float64 {
	n := len(sorted)
	var out [][2]float64
	const steps = 240
	last := -1
	for k := range steps + 1 {
		// Even steps in the logarithm of the share, where the rare ones are.
		share := math.Pow(float64(n), -float64(k)/steps)
		i := min(n-1, n-int(math.Ceil(share*float64(n))))
		if i == last {
			continue
		}
		last = i
		out = append(out, [2]float64{sorted[i], float64(n-i) / float64(n)})
	}
	return out
}
