package report

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/report/table"
)

// Of 1 to 1001 ms the percentile q is 1 + 1000 q (type 7: at 1 + (n - 1) q of the ordered
// times). Two runs have a row each, numbers stand at the right edge.
func TestFramesTable(t *testing.T) {
	var list []float64
	for i := range 1001 {
		list = append(list, float64(i+1))
	}
	shown := framesTable([]Frames{{"unit-oak", gathered(list...)}, {"unit-elm", gathered(20, 20)}}).On(table.Page)
	var got [][]string
	for i := range shown.Rows {
		var row []string
		for _, c := range shown.Rows[i] {
			row = append(row, c.Text)
		}
		got = append(got, row)
	}
	want := [][]string{{"unit-oak", "1001", "501.00", "951.00", "991.00", "1000.00"}, {"unit-elm", "2", "20.00", "20.00", "20.00", "20.00"}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	for i, want := range []string{"run", "frames", "50 %", "95 %", "99 %", "99.9 %"} {
		if c := shown.Columns[i]; c.Head != want || c.Right != (i > 0) {
			t.Errorf("column %d: %+v", i, c)
		}
	}
}

// The chart: from all frames to one in two thousand, with lines at the percentiles, and all
// charts as long as the longest frame.
func TestFramesChart(t *testing.T) {
	b := &builder{names: map[string]bool{}}
	c := b.framesCharts([]Frames{{"unit-oak", gathered(10, 20, 30)}, {"unit-elm", gathered(40, 50)}})[0]
	p := c.Panels[0]
	if want := "1 frame in 100 takes longer than 29.8 ms (unit-oak) and 49.9 ms (unit-elm). unit-oak, 3 frames: 50 % within 20.0 ms; 95 % within 29.0 ms; 99 % within 29.8 ms; 99.9 % within 30.0 ms; unit-elm, 2 frames: 50 % within 45.0 ms; 95 % within 49.5 ms; 99 % within 49.9 ms; 99.9 % within 50.0 ms;"; c.Alt != want {
		t.Errorf("got %q, want %q", c.Alt, want)
	}
	if *p.Y.From != 0.05 || *p.Y.To != 100 || *p.X.From != 0 || !p.Y.Log {
		t.Errorf("axes %+v, %+v", p.X, p.Y)
	}
	var guides []string
	for _, g := range p.Guides {
		guides = append(guides, g.Text)
	}
	if d := cmp.Diff([]string{"1 in 2", "1 in 20", "1 in 100", "1 in 1000"}, guides); d != "" {
		t.Error(d)
	}
	for i, want := range [][2]float64{{10, 100}, {20, 200.0 / 3}, {30, 100.0 / 3}} { // all took at least 10 ms, one 30
		if got := p.Series[0].Points[i]; math.Abs(got.X-want[0])+math.Abs(got.Y-want[1]) > 1e-9 {
			t.Errorf("%v, want %v", got, want)
		}
	}
	if len(p.Series) != 2 || p.Series[0].Style == p.Series[1].Style || len(p.X.Also) != 1 || p.X.Also[0] < 50 {
		t.Errorf("got %+v", p)
	}
}
