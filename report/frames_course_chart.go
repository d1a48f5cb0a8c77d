package report

import (
	"fmt"
	"slices"
	"strings"

	"sweepd/frames"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// mostCourses is how many sets of frame times one picture has room for, one above the other.
const mostCourses = 3

// framesCourseCharts draw the frame times over time: the mean of each short stretch, and the
// longest frame in it, so that no hitch is averaged away.
func (b *builder) framesCourseCharts(list []Frames) []chart.Chart {
	list = slices.DeleteFunc(slices.Clone(list), func(f Frames) bool { return f.Times.Frames() < 2 })
	var charts []chart.Chart
	parts := (len(list) + mostCourses - 1) / mostCourses
	for k := range parts {
		which := ""
		if parts > 1 {
			which = fmt.Sprintf(" (%d of %d)", k+1, parts)
		}
		charts = append(charts, b.framesCourseChart(list, k*len(list)/parts, (k+1)*len(list)/parts, which))
	}
	return charts
}

func (b *builder) framesCourseChart(list []Frames, from, to int, which string) chart.Chart {
	c := chart.Chart{Name: b.unique("frame-times-over-time"), Sharing: true}
	most, least, width := 0.0, list[0].Times.Course()[0].Longest, 0.0
	courses := make([][]frames.Stretch, len(list))
	for i, f := range list {
		courses[i] = f.Times.Course()
		width = max(width, courses[i][0].Total)
		for _, s := range courses[i] {
			most, least = max(most, s.Longest), min(least, s.Mean())
		}
	}
	// Frames of a second among those of milliseconds need a scale on which both can be read.
	const farApart = 20
	log := least > 0 && most > farApart*least
	words := []string{}
	for i := from; i < to; i++ {
		f := list[i]
		p := chart.Panel{Title: f.Name, X: chart.Axis{Label: "time since the first frame, s", From: new(float64)}, Y: chart.Axis{Label: "frame time, ms", Log: log, Also: []float64{1000 * most, 1000 * least}}}
		mean, longest := chart.Series{Name: "mean", Style: chart.Ink, Joined: true, Bare: true}, chart.Series{Name: "longest", Style: b.frameStyle(f.Name, i), Joined: true, Bare: true, Fine: true}
		worst := courses[i][0]
		for _, s := range courses[i] {
			mean.Points = append(mean.Points, flat(s.Start, 1000*s.Mean()))
			longest.Points = append(longest.Points, flat(s.Start, 1000*s.Longest))
			if s.Longest > worst.Longest {
				worst = s
			}
		}
		p.Series = []chart.Series{longest, mean}
		c.Panels = append(c.Panels, p)
		words = append(words, fmt.Sprintf("%s: longest frame %s ms, after %s s", f.Name, sentence.Significant(1000*worst.Longest), sentence.Fixed(worst.Start, 0)))
	}
	c.Title = strings.Join(words[:min(2, len(words))], "; ") + which
	c.Lines = []string{fmt.Sprintf("frame times over time: the longest frame and the mean of each stretch of at most about %s ms", sentence.Significant(1000*width))}
	c.Footer = slices.DeleteFunc([]string{b.in.Publication.Conditions, b.in.Publication.Credit}, func(s string) bool { return s == "" }) // the files say no more
	c.Alt = c.Title + ". " + strings.Join(words, ". ") + "."
	return c
}
