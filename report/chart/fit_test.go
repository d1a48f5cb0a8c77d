package chart

import (
	"flag"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgsvg"
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

// Names, and places that are given, all keep their tick though their words have no room
// beside each other; numbers are rather fewer.
func TestGivenPlacesKeepTheirTicks(t *testing.T) {
	f := newFrame(nil, &Chart{}, Wide, &Light)
	for name, c := range map[string]struct {
		s    scale
		want int
	}{
		"names":          {scale{axis: &Axis{Names: []string{"quiet and cool", "balanced", "performance"}}, min: 0.5, max: 3.5, to: 60}, 3},
		"given places":   {scale{axis: &Axis{At: []float64{15, 15.5, 16, 16.5}}, min: 14, max: 20, to: 60}, 4},
		"numbers, 0, 20": {scale{axis: &Axis{}, min: 0, max: 30, to: 60}, 2},
	} {
		if got := f.xNumbers(c.s, 60); len(got) != c.want {
			t.Errorf("%s: ticks %+v, want %d", name, got, c.want)
		}
	}
}

// What a line covers does not depend on the end it is drawn from, but for rounding: 30
// across and 40 down is 50 long, 8 steps of 6.25.
func TestLineCoversTheSameFromBothEnds(t *testing.T) {
	var there, back guideWords
	a, b := [2]float64{100, 20}, [2]float64{130, 60}
	there.addLine(a, b)
	back.addLine(b, a)
	if len(there.obstacles) != 9 || len(back.obstacles) != 9 {
		t.Fatalf("%d and %d points, want 9", len(there.obstacles), len(back.obstacles))
	}
	for i, p := range there.obstacles {
		q := back.obstacles[8-i]
		x, y := 100+3.75*float64(i), 20+5*float64(i)
		if math.Abs(p[0]-x) > 1e-9 || math.Abs(p[1]-y) > 1e-9 || math.Abs(q[0]-x) > 1e-9 || math.Abs(q[1]-y) > 1e-9 {
			t.Errorf("point %d: %v and %v, want %v, %v", i, p, q, x, y)
		}
	}
}

// The words of the line on which both axes are equal end beside it, at 88 % of its way,
// wherever the axes start: from 10 to 30 that is at 27.6.
func TestWordsOfTheDiagonalStandAtItsEnd(t *testing.T) {
	axis := Axis{From: number(10), To: number(30), At: []float64{10, 30}}
	c := &Chart{Panels: []Panel{{X: axis, Y: axis, Guides: []Guide{{Text: "equal"}}}}}
	svg := string(SVG(c, Wide, &Light))
	line := regexp.MustCompile(`d="M([0-9.]+),([0-9.]+)L([0-9.]+),([0-9.]+)" style="[^"]*stroke-dasharray`).FindStringSubmatch(svg)
	words := regexp.MustCompile(`<text x="([0-9.]+)" y="-([0-9.]+)" [^>]*textLength="([0-9.]+)"[^>]*>equal<`).FindStringSubmatch(svg)
	if line == nil || words == nil {
		t.Fatalf("line %q, words %q", line, words)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	x0, y0, x1, y1 := number(line[1]), number(line[2]), number(line[3]), number(line[4])
	end, base := number(words[1])+number(words[3]), number(words[2])
	// 0.6 times the text's 17 points left of the line, and a fifth of the words' 15.98 above.
	if want := x0 + 0.88*(x1-x0) - 10.2; math.Abs(end-want) > 0.1 {
		t.Errorf("the words end at %v, want %v", end, want)
	}
	if want := y0 + 0.88*(y1-y0) + 3.196; math.Abs(base-want) > 0.1 {
		t.Errorf("the words stand at %v, want %v", base, want)
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

// writtenText is a text of a picture, where it stands and how large it is.
type writtenText struct {
	box
	size float64
	text string
}

// textsOf draws a chart and gives its texts.
func textsOf(c *Chart, s Size) (list []writtenText, height float64) {
	tidy := cleaned(c)
	f := newFrame(vgsvg.New(vg.Length(s.Width), vg.Length(heightOf(tidy, s))), tidy, s, &Light)
	f.written = func(b box, size float64, text string) { list = append(list, writtenText{b, size, text}) }
	f.paint()
	return list, f.height
}

// sizes are all in which charts are drawn.
var sizes = map[string]Size{"wide": Wide, "square": Square, "upright": Upright, "narrow": Narrow}

// leastText is the least size of text in a picture that is shown 640 px wide, px (common
// practice, no source); a page on a phone shows the narrow form as wide as it is drawn.
const leastText = 9

func mustBeLegible(t interface{ Fatalf(string, ...any) }, c *Chart) {
	for name, s := range sizes {
		shown := 640.0
		if s == Narrow {
			shown = s.Width
		}
		texts, height := textsOf(c, s)
		for i, a := range texts {
			if px := a.size * shown / s.Width; px < leastText {
				t.Fatalf("%s: %q is %.1f px high", name, a.text, px)
			}
			if a.x0 < -0.5 || a.y0 < -0.5 || a.x1 > s.Width+0.5 || a.y1 > height+0.5 {
				t.Fatalf("%s: %q leaves the picture of %v x %v: %+v", name, a.text, s.Width, height, a.box)
			}
			for _, b := range texts[:i] {
				shrunk := box{a.x0 + 0.5, a.y0 + 0.5, a.x1 - 0.5, a.y1 - 0.5}
				if shrunk.meets(b.box) {
					t.Fatalf("%s: %q at %+v covers %q at %+v", name, a.text, a.box, b.text, b.box)
				}
			}
		}
	}
}

// Whatever names, labels and values a chart has: no text covers another one, leaves the
// picture or is too small, in every shape. The charts are the same in each run; another
// -rapid.seed, with -rapid.checks 3000, looks at others.
func TestTextsNeitherOverlapNorLeave(t *testing.T) {
	if seed := flag.Lookup("rapid.seed"); seed.Value.String() == "0" {
		if err := seed.Value.Set("1"); err != nil {
			t.Fatal(err)
		}
		defer seed.Value.Set("0") //nolint:errcheck // as it was
	}
	rapid.Check(t, func(t *rapid.T) { mustBeLegible(t, anyChart(t)) })
}

func TestTextsOfEverythingNeitherOverlapNorLeave(t *testing.T) { mustBeLegible(t, everything()) }

// anyChart is a chart of random names, labels and values.
func anyChart(t *rapid.T) *Chart {
	word := rapid.OneOf(rapid.StringMatching(`[a-zA-Z0-9-]{1,12}`), rapid.StringMatching(`[a-zA-Zäß -]{0,70}`), rapid.SampledFrom([]string{"unit-oak", "unit-elm, cores=6", "W", "мир", "n/a"}))
	value := rapid.OneOf(rapid.Float64Range(0, 100), rapid.Float64Range(-1e-4, 1e-4), rapid.Float64Range(-1e9, 1e9))
	c := &Chart{Title: word.Draw(t, "title") + " " + word.Draw(t, "title"), Lines: rapid.SliceOfN(word, 0, 2).Draw(t, "lines"), Footer: rapid.SliceOfN(word, 0, 3).Draw(t, "footer")}
	arrangement := rapid.SampledFrom([]string{"", "beside", "sharing"}).Draw(t, "arrangement")
	c.Beside, c.Sharing = arrangement == "beside", arrangement == "sharing"
	x := rapid.SliceOfNDistinct(rapid.Float64Range(3, 90), 1, 9, func(v float64) float64 { return v }).Draw(t, "x")
	slices.Sort(x)
	axis := Axis{Label: word.Draw(t, "x label")}
	switch rapid.IntRange(0, 3).Draw(t, "axis") {
	case 0:
		axis.At = x
	case 1:
		for i := range x {
			axis.Names = append(axis.Names, word.Draw(t, "setting"))
			x[i] = float64(i + 1)
		}
	case 2:
		axis.Clock = time.UTC
		for i := range x {
			x[i] *= 1000
		}
	}
	at := rapid.SampledFrom(x)
	most := 3
	if arrangement == "" { // as in all charts that are drawn
		most = 2
	}
	for range rapid.IntRange(1, most).Draw(t, "panels") {
		p := Panel{Title: word.Draw(t, "panel"), X: axis, Y: Axis{Label: word.Draw(t, "y label"), Unit: rapid.SampledFrom([]string{"", "s", "fps"}).Draw(t, "unit")}}
		if c.Sharing { // the quantity says it
			p.Title = ""
		}
		y := value.Draw(t, "y")
		curves := 6
		if c.Sharing { // as in the course of a run
			curves = 3
		}
		for k := range rapid.IntRange(1, curves).Draw(t, "curves") {
			s := Series{Name: word.Draw(t, "name"), Style: k, Joined: rapid.Bool().Draw(t, "joined")}
			for _, v := range x {
				mean := y * rapid.Float64Range(0.5, 2).Draw(t, "value")
				half := math.Abs(mean) * rapid.Float64Range(0, 0.3).Draw(t, "half")
				s.Points = append(s.Points, Point{v, mean, mean - half, mean + half})
			}
			if rapid.IntRange(0, 4).Draw(t, "with words") == 0 {
				for range x {
					s.Words = append(s.Words, word.Draw(t, "words"))
				}
			}
			p.Series = append(p.Series, s)
		}
		for range rapid.IntRange(0, 5).Draw(t, "guides") {
			g := Guide{Text: word.Draw(t, "guide"), Low: rapid.Bool().Draw(t, "low"), Left: rapid.Bool().Draw(t, "left")}
			switch v := at.Draw(t, "at"); rapid.IntRange(0, 2).Draw(t, "kind") {
			case 0:
				g.X = &v
			case 1:
				v = y * rapid.Float64Range(0.5, 2).Draw(t, "level")
				g.Y = &v
			}
			p.Guides = append(p.Guides, g)
		}
		for range rapid.IntRange(0, 2).Draw(t, "spans") {
			from := at.Draw(t, "from")
			p.Spans = append(p.Spans, Span{Reach{from, from + rapid.Float64Range(0, 30).Draw(t, "to")}, word.Draw(t, "span")})
		}
		for k := range rapid.IntRange(0, 6).Draw(t, "marks") {
			p.Marks = append(p.Marks, Mark{at.Draw(t, "mark"), strconv.Itoa(k + 1)})
		}
		for k := 0; k+1 < len(x) && !c.Sharing && rapid.Bool().Draw(t, "strip"); k++ {
			p.Strip = append(p.Strip, Cell{Reach: Reach{x[k], x[k+1]}, Verdict: rapid.SampledFrom([]Verdict{Ahead, Level, Unclear}).Draw(t, "verdict")})
		}
		c.Panels = append(c.Panels, p)
	}
	for range rapid.IntRange(0, 8).Draw(t, "items") {
		c.Key = append(c.Key, Item{Symbol: Symbol(rapid.IntRange(0, int(SymbolNone)).Draw(t, "symbol")), Badge: "1", Text: word.Draw(t, "item") + " " + word.Draw(t, "item")})
	}
	return c
}
