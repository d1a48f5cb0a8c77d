package report

import (
	"math"
	"testing"

	"sweepd/analysis"
	"sweepd/report/chart"
)

func TestRunsInWords(t *testing.T) {
	for _, c := range []struct {
		n    []int
		runs string
	}{
		{[]int{1, 1}, "1 run"},
		{[]int{3, 3}, "3 runs"},
		{[]int{1, 3, 2}, "1 to 3 runs"},
		{[]int{0, 2}, "2 runs"}, // 0: a side was not run there
		{[]int{0}, "no run"},
	} {
		if got := runsText(c.n); got != c.runs {
			t.Errorf("%v: %q, want %q", c.n, got, c.runs)
		}
	}
}

// The key names intervals where one is drawn: a value with both its ends. What the noise
// was told from is said once, and not where it was from repeats alone.
func TestIntervalItems(t *testing.T) {
	nan := math.NaN()
	full, open, none := chart.Point{X: 1, Y: 2, Lower: 1, Upper: 3}, chart.Point{X: 1, Y: 2, Lower: 1, Upper: nan}, chart.Point{X: 1, Y: nan, Lower: 1, Upper: 3}
	for _, c := range []struct {
		points  []chart.Point
		sources []analysis.NoiseSource
		want    string
	}{
		{[]chart.Point{open, full}, nil, "95 % interval of the mean"},
		{[]chart.Point{open, none, {X: 1, Y: 2, Lower: nan, Upper: 3}}, nil, ""},
		{nil, nil, ""},
		{[]chart.Point{full}, []analysis.NoiseSource{analysis.NoisePooled, analysis.NoiseWindow}, "95 % interval of the mean"},
		{[]chart.Point{full}, []analysis.NoiseSource{analysis.NoiseRoughness, analysis.NoiseRoughness}, "95 % interval of the mean, judged from how smooth the curve is"},
		{[]chart.Point{full}, []analysis.NoiseSource{analysis.NoiseDeclared, analysis.NoiseWindow}, "95 % interval of the mean, judged from repeats, or what was given"},
		{[]chart.Point{full}, []analysis.NoiseSource{analysis.NoisePooledRoughness}, "95 % interval of the mean, judged from few repeats and how smooth the curve is"},
	} {
		got := ""
		for _, item := range intervalItems(ofTheMean, 0.95, []chart.Panel{{}, {Series: []chart.Series{{}, {Points: c.points}}}}, c.sources...) {
			if item.Symbol != chart.SymbolInterval {
				t.Errorf("symbol %v", item.Symbol)
			}
			got += item.Text
		}
		if got != c.want {
			t.Errorf("%v: got %q, want %q", c.sources, got, c.want)
		}
	}
}

func TestNamesOfFiles(t *testing.T) {
	b := &builder{names: map[string]bool{}}
	for _, want := range []string{"pair-unit-oak-cores-6", "pair-unit-oak-cores-6-2", "pair-unit-oak-cores-6-3"} {
		if got := b.unique(fileName("pair", "Unit Oak", "cores=6!")); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	long := ""
	for range 79 {
		long += "a"
	}
	if got := fileName(long, "bc"); got != long { // 80 letters at most, and no dash at the end
		t.Errorf("got %q", got)
	}
	if got := fileName(long + "b"); got != long+"b" {
		t.Errorf("got %q", got)
	}
}

// What is above zero is a gain of a where more is better, and of b where less is.
func TestAboveZero(t *testing.T) {
	for better, want := range map[string]string{"higher": "unit-oak is better", "lower": "no cores set is better"} {
		if got := aboveZero(&analysis.Comparison{A: "unit-oak", B: "cores=", Better: better}); got != want {
			t.Errorf("%s: %q, want %q", better, got, want)
		}
	}
}

// An interval that reaches more than three times the usual half width, 2 %, beyond all
// differences is cut there: 20 + 6 above, 10 - 6 is inside the margin of 2 % below.
func TestVeryWideBoundsAreCut(t *testing.T) {
	at := func(diff, half analysis.Number) analysis.SettingComparison {
		return analysis.SettingComparison{Diff: diff, Lower: diff - half, Upper: diff + half}
	}
	for _, c := range []struct {
		name     string
		settings []analysis.SettingComparison
		from, to float64 // NaN: not cut
	}{
		{"one wide", []analysis.SettingComparison{at(0.1, 0.02), at(0.2, 0.02), at(0.15, 0.5)}, -2, 26},
		{"none wide", []analysis.SettingComparison{at(0.1, 0.02), at(0.2, 0.02), at(0.15, 0.03)}, math.NaN(), math.NaN()},
		{"too few with a width to tell", []analysis.SettingComparison{at(0.1, 0.02), at(0.15, 0.5), at(0.12, 0)}, math.NaN(), math.NaN()},
		{"no width is no usual one", []analysis.SettingComparison{at(0.1, 0.02), at(0.2, 0.02), at(0.15, 0.5), at(0.12, 0), at(0.13, 0), at(0.14, 0), at(0.16, 0)}, -2, 26},
		{"too few to tell", []analysis.SettingComparison{at(0.1, 0.02), at(0.15, 0.5)}, math.NaN(), math.NaN()},
	} {
		p := chart.Panel{Series: []chart.Series{{}}}
		for i, s := range c.settings {
			p.Series[0].Points = append(p.Series[0].Points, interval(float64(i), 100*s.Diff, 100*s.Lower, 100*s.Upper))
		}
		(&builder{}).clipBounds(&p, &analysis.Comparison{Margin: 0.02, Settings: c.settings})
		for _, end := range []struct {
			got  *float64
			want float64
		}{{p.Y.From, c.from}, {p.Y.To, c.to}} {
			if math.IsNaN(end.want) != (end.got == nil) || end.got != nil && math.Abs(*end.got-end.want) > 1e-9 {
				t.Errorf("%s: %v to %v, want %v to %v", c.name, p.Y.From, p.Y.To, c.from, c.to)
			}
		}
	}
}
