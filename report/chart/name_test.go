package chart

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// A shortened name keeps its beginning and has one cut; where another name of the chart begins
// the same, it keeps its end, too, so that both can be told apart.
func TestShortName(t *testing.T) {
	for _, c := range []struct {
		names []string
		keep  int
		want  string
	}{
		{[]string{"unit-elm that somebody tests", "unit-oak with a docking station"}, 12, "unit-elm th…"},
		{[]string{"unit-elm that somebody tests", "unit-oak with a docking station"}, 10, "unit-elm…"}, // no blank before the cut
		{[]string{"unit-oak, cores=6", "unit-oak, cores=12"}, 9, "unit…es=6"},
		{[]string{"unit-oak, cores=6", "unit-oak, cores=6"}, 9, "unit-oak…"}, // drawn in two panels
		{[]string{"長い名前です", "短い"}, 4, "長い名…"},
	} {
		if got := shortName([]rune(c.names[0]), c.names, c.keep); got != c.want {
			t.Errorf("%q in %d letters: got %q, want %q", c.names, c.keep, got, c.want)
		}
	}
}

func TestLeaveOut(t *testing.T) {
	for keep, want := range map[int]string{7: "abcdef", 6: "abcdef", 5: "ab…ef", 4: "ab…f", 3: "a…f", 2: "a…", 1: "…", 0: "…"} {
		if got := leaveOut([]rune("abcdef"), keep); got != want {
			t.Errorf("%d letters: got %q, want %q", keep, got, want)
		}
	}
}

// The more curves, the fewer lines each name may take: four, three of more than two
// curves, two of more than four. What counts is the panel with the most, or the panels
// where they share one room.
func TestLinesOfNames(t *testing.T) {
	panels := func(curves ...int) []Panel {
		list := make([]Panel, len(curves))
		for i, n := range curves {
			for k := range n {
				list[i].Series = append(list[i].Series, Series{Name: fmt.Sprint(i, k)})
			}
			list[i].Series = append(list[i].Series, Series{}) // without a name
		}
		return list
	}
	for _, c := range []struct {
		curves  []int
		sharing bool
		names   int
		most    int
	}{{[]int{1}, false, 1, 4}, {[]int{2}, false, 2, 4}, {[]int{2, 2}, false, 4, 4}, {[]int{3}, false, 3, 3}, {[]int{1, 4}, false, 5, 3}, {[]int{4, 1}, false, 5, 3}, {[]int{5}, false, 5, 2},
		{[]int{1, 1, 1}, true, 3, 3}, {[]int{1, 1, 1}, false, 3, 4}, {[]int{1, 1, 1, 1, 1}, true, 5, 2}} {
		names, most := newFrame(nil, &Chart{Panels: panels(c.curves...), Sharing: c.sharing}, Wide, &Light).curveNames()
		if len(names) != c.names || most != c.most {
			t.Errorf("%v: %d names in %d lines, want %d in %d", c.curves, len(names), most, c.names, c.most)
		}
	}
}

// A curve that is drawn again in a panel to the right is named there alone.
func TestNamedOnceOfPanelsBeside(t *testing.T) {
	c := &Chart{Beside: true, Panels: []Panel{{Series: []Series{{Name: "oak"}, {Name: "elm"}}}, {Series: []Series{{Name: "oak"}}}}}
	f := newFrame(nil, c, Wide, &Light)
	for _, x := range []struct {
		panel int
		name  string
		want  bool
	}{{0, "oak", true}, {0, "elm", false}, {1, "oak", false}} {
		if got := f.namedLater(x.panel, x.name); got != x.want {
			t.Errorf("%s in panel %d: %v", x.name, x.panel, got)
		}
	}
	c.Beside = false
	if f.namedLater(0, "oak") {
		t.Error("panels below each other have each their names")
	}
}

// The ends of an axis: 6 % of the range beyond both, from zero where the
// lowest value is below 70 % of the highest, and what was asked for.
func TestEndsOfAnAxis(t *testing.T) {
	for _, c := range []struct {
		name      string
		axis      Axis
		low, high float64
		min, max  float64
	}{
		{"from zero", Axis{}, 10, 110, 0, 116},
		{"cut, as zero is far", Axis{}, 100, 110, 99.4, 110.6},
		{"below zero", Axis{}, -10, 90, -16, 96},
		{"one value: 5 % of it beyond both", Axis{}, 100, 100, 95, 105},
		{"zero alone", Axis{}, 0, 0, -0.5, 0.5},
		{"nothing to show", Axis{}, 1, 0, 0, 1.06},
		{"times of a day", Axis{Clock: time.UTC}, 0, 100, -6, 106},
		{"as asked", Axis{From: number(5), To: number(120)}, 10, 110, 5, 120},
		{"asked the wrong way round", Axis{From: number(5), To: number(5)}, 10, 110, 5, 6},
		{"names", Axis{Names: []string{"quiet", "fast"}}, 1, 2, 0.5, 2.5},
		{"decades: 15 % beyond both", Axis{Log: true}, 1.15, 100, 1, 115},
	} {
		lo, hi := c.axis.fit(c.low, c.high)
		if d := max(lo-c.min, c.min-lo, hi-c.max, c.max-hi); !(d < 1e-9) {
			t.Errorf("%s: from %v to %v, want %v to %v", c.name, lo, hi, c.min, c.max)
		}
	}
}

// ticksOf are the texts of an axis' ticks.
func ticksOf(s scale, n int) string {
	var list []string
	for _, k := range s.ticks(n) {
		list = append(list, k.text)
	}
	return strings.Join(list, " ")
}

func TestTicksByHand(t *testing.T) {
	noon := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	at := func(h float64) float64 { return float64(noon.Unix()) + 3600*h }
	for _, c := range []struct {
		name string
		s    scale
		n    int
		want string
	}{
		{"round steps", scale{axis: &Axis{}, min: 0, max: 100}, 5, "0 20 40 60 80 100"},
		{"a step of 2.5", scale{axis: &Axis{}, min: 0, max: 10}, 4, "0 2.5 5.0 7.5 10.0"},
		{"signs", scale{axis: &Axis{Signed: true}, min: -4, max: 4}, 4, "−4 −2 0 +2 +4"},
		{"two decades", scale{axis: &Axis{Log: true}, min: 0.5, max: 20}, 5, "0.5 1 2 5 10 20"},
		{"many decades", scale{axis: &Axis{Log: true}, min: 1, max: 1e6}, 5, "1 10 100 1000 10000 10⁵ 10⁶"},
		{"small decades", scale{axis: &Axis{Log: true}, min: 2e-5, max: 1e-3}, 5, "2×10⁻⁵ 5×10⁻⁵ 10⁻⁴ 2×10⁻⁴ 5×10⁻⁴ 0.001"},
		{"names", scale{axis: &Axis{Names: []string{"quiet", "fast"}}, min: 0.5, max: 2.5}, 5, "quiet fast"},
		{"hours", scale{axis: &Axis{Clock: time.UTC}, min: at(0), max: at(4)}, 4, "12:00 13:00 14:00 15:00 16:00"},
		{"minutes", scale{axis: &Axis{Clock: time.UTC}, min: at(0.1), max: at(0.5)}, 3, "12:10 12:20 12:30"},
		{"over midnight", scale{axis: &Axis{Clock: time.UTC}, min: at(6), max: at(18)}, 4, "18:00 21:00 5 May 03:00 06:00"},
		{"days", scale{axis: &Axis{Clock: time.UTC}, min: at(0), max: at(120)}, 3, "6 May 8 May"},
		{"elsewhere", scale{axis: &Axis{Clock: time.FixedZone("", 3600)}, min: at(0), max: at(2)}, 2, "13:00 14:00 15:00"},
	} {
		c.s.to = 1
		if got := ticksOf(c.s, c.n); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

func TestPlacesOnAScale(t *testing.T) {
	level := scale{axis: &Axis{}, min: 10, max: 30, from: 100, to: 300}
	decades := scale{axis: &Axis{Log: true}, min: 1, max: 100, from: 100, to: 300}
	for _, c := range []struct{ got, want float64 }{{level.at(10), 100}, {level.at(15), 150}, {level.at(30), 300}, {decades.at(1), 100}, {decades.at(10), 200}, {decades.at(100), 300}} {
		if d := max(c.got-c.want, c.want-c.got); !(d < 1e-9) {
			t.Errorf("at %v, want %v", c.got, c.want)
		}
	}
}
