package report

import (
	"strings"
	"testing"

	"sweepd/frames"
	"sweepd/report/chart"
)

// Each stretch of the course is a point, and the title names the longest frame and when it
// came: of 1,000 frames of 10 ms the 501st takes 90 ms, 5 s after the start.
func TestFramesOverTime(t *testing.T) {
	hitch := frames.NewTimes(0)
	for i := range 1000 {
		s := 0.010
		if i == 500 {
			s = 0.090
		}
		hitch.Add(s)
	}
	b := builderOf(t, plant(31, oakAndElm()[0]))
	list := b.framesCourseCharts([]Frames{{"unit-oak at 25 W", hitch}, {"unit-elm at 25 W", framesOf(400)}, {"empty", gathered()}, {"c", framesOf(40)}, {"d", framesOf(40)}})
	if len(list) != 2 || len(list[0].Panels) != 2 {
		t.Fatalf("%d charts", len(list))
	}
	c := list[0]
	if !strings.HasPrefix(c.Title, "unit-oak at 25 W: longest frame 90.0 ms, after 5 s; unit-elm at 25 W: longest frame ") || !strings.HasSuffix(c.Title, "(1 of 2)") {
		t.Errorf("title %q", c.Title)
	}
	course := hitch.Course()
	longest, mean := c.Panels[0].Series[0], c.Panels[0].Series[1]
	for i, s := range course {
		if longest.Points[i].X != s.Start || longest.Points[i].Y != 1000*s.Longest || mean.Points[i].Y != 1000*s.Mean() {
			t.Errorf("%+v and %+v, want %+v", longest.Points[i], mean.Points[i], s)
		}
	}
	for _, c := range list {
		for _, size := range []chart.Size{chart.Wide, chart.Narrow} {
			if svg := string(chart.SVG(&c, size, &chart.Light)); strings.Contains(svg, "NaN") {
				t.Error("not drawn")
			}
		}
	}
	if none := b.framesCourseCharts([]Frames{{"empty", gathered()}}); len(none) != 0 {
		t.Errorf("a chart of no frames: %+v", none)
	}
}
