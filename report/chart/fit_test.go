package chart

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Very large and very small numbers are written in a power of ten that stands in
// the label once, and no number is long.
func TestPowersOfTen(t *testing.T) {
	for _, c := range []struct {
		axis     Axis
		min, max float64
		label    string
		has      string
	}{
		{Axis{Label: "duration", Unit: "s"}, 0, 8e-7, "duration, 10⁻⁹ s", "200"},
		{Axis{Label: "hashes"}, 0, 2.5e11, "hashes, 10⁹", "100"},
		{Axis{Label: "change", Unit: "J"}, -4e6, 3e6, "change, 10⁶ J", "−2"},
		{Axis{Label: "result", Unit: "fps"}, 0, 120, "result, fps", "100"},
		{Axis{Label: "score"}, 0, 250000, "score", "200000"},
		{Axis{Label: "load", Unit: "s"}, 0, 0.004, "load, s", "0.002"},
	} {
		s := scale{axis: &c.axis, min: c.min, max: c.max, to: 1}
		if got := s.label(); got != c.label {
			t.Errorf("label %q, want %q", got, c.label)
		}
		found := false
		for _, k := range s.ticks(5) {
			if len(k.text) > 6 {
				t.Errorf("%s: the number %q is long", c.label, k.text)
			}
			if k.text == c.has {
				found = true
			}
			if at := s.at(k.at); at < -1e-9 || at > 1+1e-9 {
				t.Errorf("%s: %q stands outside", c.label, k.text)
			}
		}
		if !found {
			t.Errorf("%s: no %q among %+v", c.label, c.has, s.ticks(5))
		}
	}
}

// The face lacks some of the raised figures: they are drawn as small ones.
func TestRaisedFiguresAreDrawn(t *testing.T) {
	c := &Chart{Lines: []string{"10⁻⁹ s"}}
	svg := string(SVG(c, Wide, &Light))
	body := svg[strings.Index(svg, "</desc>"):]
	if strings.ContainsAny(body, "⁻⁹") || !strings.Contains(body, ">−9<") || !strings.Contains(body, ">s<") {
		t.Error(body)
	}
	l := lettering{16, false}
	if whole, plain := l.width("10⁻⁹ s"), l.width("10−9 s"); !(whole < plain && whole > l.width("10 s")) {
		t.Errorf("width %v beside %v", whole, plain)
	}
}

func TestTicksAtGivenPlaces(t *testing.T) {
	s := scale{axis: &Axis{At: []float64{15, 17.5, 99}}, min: 14, max: 20, to: 1}
	if got := s.ticks(9); len(got) != 2 || got[0].text != "15" || got[1].text != "17.5" {
		t.Errorf("%+v", got)
	}
}

// Values beside those drawn stretch the axis, so that two charts have the same one.
func TestAlsoStretchesTheAxis(t *testing.T) {
	nan := math.NaN()
	f := newFrame(nil, &Chart{}, Wide, &Light)
	small := &Panel{Series: []Series{{Points: []Point{{1, 50, nan, nan}, {2, 60, nan, nan}}}}}
	large := &Panel{Series: []Series{{Points: []Point{{1, 10, nan, nan}, {2, 90, nan, nan}}}}}
	want := f.yScale(large, 0, 1)
	if got := f.yScale(small, 0, 1); got.max == want.max {
		t.Fatal("they have the same axis already")
	}
	small.Y.Also = []float64{10, 90}
	if got := f.yScale(small, 0, 1); got.min != want.min || got.max != want.max {
		t.Errorf("%v to %v, want %v to %v", got.min, got.max, want.min, want.max)
	}
}

// Numbers of an x axis do not touch, whatever its width, and a narrow axis has more
// than two where there is room.
func TestLevelNumbersHaveRoom(t *testing.T) {
	f := newFrame(nil, &Chart{}, Wide, &Light)
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(1, 1000).Draw(t, "low")
		width := rapid.Float64Range(60, 900).Draw(t, "width")
		s := scale{axis: &Axis{}, min: low, max: low * rapid.Float64Range(1.1, 20).Draw(t, "times"), to: width}
		last := math.Inf(-1)
		for _, k := range f.xNumbers(s, width) {
			half := f.tickType().width(k.text) / 2
			if s.at(k.at)-half < last {
				t.Fatalf("%q touches the one before", k.text)
			}
			last = s.at(k.at) + half
		}
	})
	if n := len(f.xNumbers(scale{axis: &Axis{}, min: 5, max: 41, to: 190}, 190)); n < 4 {
		t.Errorf("%d numbers from 5 to 41 on 190 points", n)
	}
}

// Names that differ stay different, however long they are, and fit their room.
func TestLongNamesStayDifferent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-z-]{0,60}`)
		before, behind := word.Draw(t, "before"), word.Draw(t, "behind")
		n := rapid.IntRange(2, 6).Draw(t, "n")
		c := &Chart{Beside: rapid.Bool().Draw(t, "beside"), Panels: []Panel{{}}}
		for i := range n {
			c.Panels[0].Series = append(c.Panels[0].Series, Series{Name: before + string(rune('a'+i)) + behind, Joined: true})
		}
		f := newFrame(nil, c, Wide, &Light)
		seen := map[string]bool{}
		for _, s := range c.Panels[0].Series {
			lines := f.nameLines(s.Name)
			if text := strings.Join(lines, ""); seen[text] {
				t.Fatalf("two names became %q", text)
			} else {
				seen[text] = true
			}
			for _, line := range lines {
				if w := f.nameType().width(line); w > f.size.Width*nameWidth {
					t.Fatalf("%q is %v wide", line, w)
				}
			}
		}
	})
}

// A single point has no line to its name: that would look like its curve.
func TestSinglePointHasNoLine(t *testing.T) {
	nan := math.NaN()
	colour := "stroke:#3842C8"
	c := &Chart{Panels: []Panel{{X: Axis{From: number(0), To: number(1)}, Series: []Series{{Name: "unit-oak", Joined: true, Points: []Point{{1, 5, nan, nan}}}}}}}
	if strings.Contains(string(SVG(c, Wide, &Light)), colour) {
		t.Error("a line in the curve's colour")
	}
	c.Panels[0].Series[0].Points = append(c.Panels[0].Series[0].Points, Point{0.5, 6, nan, nan})
	if !strings.Contains(string(SVG(c, Wide, &Light)), colour) {
		t.Error("no line between two points")
	}
}
