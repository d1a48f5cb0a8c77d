package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/plot/vg"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func number(v float64) *float64 { return &v }

// everything is a chart with all that can be drawn.
func everything() *Chart {
	nan := math.NaN()
	return &Chart{
		Name: "everything", Title: "harbour-flight on mains: all that can be drawn", Alt: "unit-oak is ahead from 18 W.",
		Lines: []string{"fps_mean in fps, higher is better; each point is the mean of 3 runs"},
		Panels: []Panel{
			{
				Title: "result", X: Axis{Label: "setting, W"}, Y: Axis{Label: "fps"},
				Spans:  []Span{{Reach{5, 8}, "ignored"}},
				Lanes:  []Lane{{Reach{8, 12}, 0, 8}, {Reach{25, 25}, 1, 25}},
				Strip:  []Cell{{Reach{4.5, 9}, Ahead, 1}, {Reach{9, 15}, Level, 0}, {Reach{15, 20}, Unclear, 0}, {Reach{20, 26}, Ahead, 0}},
				Guides: []Guide{{X: number(12), Text: "12.0 W"}, {Y: number(60), Text: "60", Style: 2}, {Y: number(20), Text: "twenty", Low: true, Left: true}, {}},
				Series: []Series{
					{Name: "unit-oak", Joined: true, NotKept: []float64{5, 25}, Points: []Point{{5, 30, 29, 31}, {8, 41.5, 40, 43}, {12, 58, 57, 59}, {25, 84.5, 80, 89}}},
					{Name: "unit-elm with a name of several words", Style: 1, Joined: true, Points: []Point{{5, 32, nan, nan}, {8, nan, nan, nan}, {12, 61, 60, 62}, {25, 79, 78, 80}}},
				},
			},
			{
				X: Axis{Label: "time, s"}, Y: Axis{Label: "power, W", From: number(0)}, Marks: []Mark{{10, "1"}},
				Series: []Series{{Name: "limit", Style: 2, Joined: true, Steps: true, Bare: true, Points: []Point{{5, 20, nan, nan}, {15, 25, nan, nan}, {25, 25, nan, nan}}},
					{Crossed: true, Points: []Point{{20, 3, nan, nan}}}, {Name: "odd", Style: 3, Starred: true, Points: []Point{{22, 9, 2, 16}}}, {Ringed: true, Points: []Point{{15, 25, nan, nan}}}},
			},
		},
		Key: []Item{{Symbol: SymbolInterval, Text: "95 % interval"}, {Symbol: SymbolAhead, Style: 1, Text: "unit-elm ahead"}, {Symbol: SymbolLevel, Text: "level within 2 %"},
			{Symbol: SymbolUnclear, Text: "cannot be told"}, {Symbol: SymbolLane, Text: "plateau"}, {Symbol: SymbolHollow, Text: "not obeyed"}, {Symbol: SymbolBadge, Badge: "1", Text: "supply_changed"},
			{Symbol: SymbolCross, Text: "rejected"}, {Symbol: SymbolRing, Text: "off the trend"}, {Symbol: SymbolStar, Text: "unlike its repeats"}, {Symbol: SymbolGuide, Text: "margin"}, {Symbol: SymbolSpan, Text: "ignored"}, {Text: "words alone", Symbol: SymbolNone}},
	}
}

// The SVG text is the same on every machine; whoever changes it looks at it.
func TestGolden(t *testing.T) {
	day := &Chart{Name: "day", Title: "The day", Sharing: true, Panels: []Panel{{
		X: Axis{Label: "start", Clock: time.UTC}, Y: Axis{Label: "%", Signed: true}, Guides: []Guide{{Y: number(0), Thick: true}},
		Series: []Series{{Name: "unit-oak", Small: true, Points: []Point{{1777881600, -1, math.NaN(), math.NaN()}, {1777906800, 2, math.NaN(), math.NaN()}}}},
	}, {
		X: Axis{Label: "start", Clock: time.UTC}, Y: Axis{Signed: true}, Guides: []Guide{{Y: number(0), Thick: true}},
		Series: []Series{{Name: "unit-elm", Style: 1, Small: true, Points: []Point{{1777891600, 1, math.NaN(), math.NaN()}}}, {Crossed: true, Points: []Point{{1777896800, -3, math.NaN(), math.NaN()}}}},
	}}}
	named := &Chart{Name: "named", Title: "Settings with names", Beside: true, Panels: []Panel{
		{Title: "left", X: Axis{Names: []string{"quiet", "balanced", "performance"}}, Series: []Series{{Name: "a", Style: 4, Joined: true, Points: []Point{{1, 1, 1, 1}, {2, 4, 3, 5}}}, {Name: "left alone", Style: 2, Joined: true, Points: []Point{{1, 2, 2, 2}, {3, 3, 3, 3}}}}},
		{Title: "right", X: Axis{}, Y: Axis{Log: true}, Series: []Series{{Name: "a", Style: 5, Joined: true, Points: []Point{{1, 0.05, math.NaN(), math.NaN()}, {2, 100, math.NaN(), math.NaN()}}}}},
	}}
	for _, c := range []*Chart{everything(), day, named} {
		for form, size := range map[string]Size{"wide": Wide, "narrow": Narrow} {
			for _, p := range []*Palette{&Light, &Dark} {
				if form == "narrow" && p == &Dark {
					continue // the palette is the same as in the wide form
				}
				golden(t, fmt.Sprintf("%s-%s-%s.svg", c.Name, form, p.Name), SVG(c, size, p))
			}
		}
	}
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

// A picture for a page names the page's colours and no other.
func TestInlineLeavesColoursToThePage(t *testing.T) {
	svg := Inline(everything(), Wide, "t", "a")
	if left := hexColour.FindAllString(svg, -1); len(left) > 0 {
		t.Errorf("colours of its own: %v", left)
	}
	for _, name := range Names[:6] {
		if !strings.Contains(svg, "var(--"+name+")") {
			t.Errorf("--%s is not used", name)
		}
	}
	wellFormed(t, svg)
}

func wellFormed(t *testing.T, svg string) {
	t.Helper()
	for d := xml.NewDecoder(strings.NewReader(svg)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("no well-formed XML: %v", err)
		}
	}
}

// Names come from data files: none may break out of its place.
func TestHostileNames(t *testing.T) {
	const bad = "</text><script>alert(1)</script>\x00\x1b[31m\" style=\"fill:#3842C8\" &amp; \ufffe\xff 長い名前"
	c := everything()
	c.Title, c.Alt, c.Lines = bad, bad, []string{bad}
	for i := range c.Panels {
		p := &c.Panels[i]
		p.Title, p.X.Label, p.Y.Label = bad, bad, bad
		for k := range p.Series {
			p.Series[k].Name = bad
		}
		for k := range p.Guides {
			p.Guides[k].Text = bad
		}
		for k := range p.Spans {
			p.Spans[k].Text = bad
		}
	}
	c.Key = append(c.Key, Item{Text: bad})
	c.Panels[0].X.Names = []string{bad}
	for _, svg := range []string{string(SVG(c, Wide, &Light)), string(SVG(c, Narrow, &Dark)), Inline(c, Wide, bad, bad)} {
		wellFormed(t, svg)
		if strings.Contains(svg, "<script") {
			t.Error("a name became an element")
		}
	}
}

func TestPNGHasTheSizesOfVideos(t *testing.T) {
	for _, want := range []struct {
		size          Size
		width, height int
	}{{Wide, 1920, 1080}, {Wide, 3840, 2160}, {Square, 1080, 1080}, {Square, 2160, 2160}, {Upright, 1080, 1920}, {Upright, 2160, 3840}} {
		if want.width > 1920 && testing.Short() {
			continue
		}
		var b bytes.Buffer
		if err := PNG(&b, everything(), want.size, want.width, &Dark); err != nil {
			t.Fatal(err)
		}
		image, err := png.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if got := image.Bounds().Size(); got.X != want.width || got.Y != want.height {
			t.Errorf("%v, want %d x %d", got, want.width, want.height)
		}
		r, g, bl, _ := image.At(2, 2).RGBA()
		if want := Dark.Paper; uint8(r>>8) != want.R || uint8(g>>8) != want.G || uint8(bl>>8) != want.B {
			t.Errorf("background %x %x %x", r>>8, g>>8, bl>>8)
		}
	}
}

// Charts without anything to show do not fail.
func TestEmpty(t *testing.T) {
	nan := math.NaN()
	for _, c := range []*Chart{
		{},
		{Title: "no panels", Key: []Item{{Text: "key"}}},
		{Panels: []Panel{{}}},
		{Panels: []Panel{{Series: []Series{{Name: "nothing", Joined: true}}}, {}}, Beside: true},
		{Panels: []Panel{{Series: []Series{{Joined: true, Points: []Point{{1, nan, nan, nan}}}}}}},
		{Panels: []Panel{{X: Axis{Clock: time.UTC}, Series: []Series{{Points: []Point{{0, 1, nan, nan}}}}}}},
		{Panels: []Panel{{Y: Axis{Log: true}, Series: []Series{{Points: []Point{{1, 1, 1, 1}}}}}}},
		{Panels: []Panel{{Series: []Series{{Points: []Point{{1, math.Inf(1), 0, math.Inf(1)}}}}}}},
	} {
		for _, s := range []Size{Wide, Narrow} {
			svg := string(SVG(c, s, &Light))
			wellFormed(t, svg)
			if strings.Contains(svg, "NaN") {
				t.Errorf("%+v: NaN in the picture", c)
			}
		}
	}
}

// Ticks are inside the axis, ascending, round and not too many, whatever the ends.
func TestTicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1e6, 1e6).Draw(t, "low")
		span := math.Pow(10, rapid.Float64Range(-6, 7).Draw(t, "log10 span"))
		n := rapid.IntRange(1, 12).Draw(t, "n")
		if span < math.Abs(low)*1e-6 {
			t.Skip("more digits than a chart shows")
		}
		s := scale{axis: &Axis{}, min: low, max: low + span, from: 0, to: 1}
		ticks := s.ticks(n)
		if len(ticks) > n+2 {
			t.Fatalf("%d ticks, wanted at most about %d", len(ticks), n)
		}
		for i, k := range ticks {
			if at := s.at(k.at); at < -1e-6 || at > 1+1e-6 {
				t.Fatalf("tick %v outside %v to %v", k.at, low, low+span)
			}
			if i > 0 && (k.at <= ticks[i-1].at || k.text == ticks[i-1].text) {
				t.Fatalf("ticks %+v", ticks)
			}
		}
	})
}

// Names moved apart do not touch, keep the order of their curves and stay inside
// where there is room.
func TestNamesDoNotTouch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "n")
		tags := make([]nameTag, n)
		for i := range tags {
			y := rapid.Float64Range(100, 400).Draw(t, "y")
			tags[i] = nameTag{style: i, end: [2]float64{0, y}, y: y, height: rapid.SampledFrom([]float64{20, 40}).Draw(t, "height")}
		}
		spread(tags, 100, 400, 4)
		for i := range tags {
			if tags[i].y-tags[i].height/2 < 100-1e-9 || tags[i].y+tags[i].height/2 > 400+1e-9 {
				t.Fatalf("outside: %+v", tags[i])
			}
			if i > 0 && tags[i].y-tags[i].height/2 < tags[i-1].y+tags[i-1].height/2-1e-9 {
				t.Fatalf("touching: %+v", tags)
			}
			if i > 0 && tags[i].end[1] < tags[i-1].end[1] {
				t.Fatal("order changed")
			}
		}
	})
}

func TestWrapFits(t *testing.T) {
	l := lettering{16, false}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[a-zA-Z ,.-]{0,120}`).Draw(t, "text")
		for _, line := range l.wrap(text, 120, 2) {
			if l.width(line) > 120 {
				t.Fatalf("%q is %v wide", line, l.width(line))
			}
		}
	})
}

// vision simulates how colours look with one kind of cone missing (linear RGB;
// Machado, Oliveira & Fernandes 2009, severity 1, compared with the table in Debian's
// python3-colorspacious, cvd.py, which has it from the authors' page).
var vision = map[string][3][3]float64{
	"all cones":  {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia": {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deutanopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia": {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

func linear(c color.NRGBA) [3]float64 {
	part := func(v uint8) float64 { // sRGB, IEC 61966-2-1
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return [3]float64{part(c.R), part(c.G), part(c.B)}
}

func times(m [3][3]float64, v [3]float64) (out [3]float64) {
	for i := range m {
		for k := range v {
			out[i] += m[i][k] * v[k]
		}
		out[i] = min(max(out[i], 0), 1)
	}
	return out
}

// oklab is a space in which distances are about those seen (Ottosson 2020).
func oklab(v [3]float64) [3]float64 {
	l := math.Cbrt(0.4122214708*v[0] + 0.5363325363*v[1] + 0.0514459929*v[2])
	m := math.Cbrt(0.2119034982*v[0] + 0.6806995451*v[1] + 0.1073969566*v[2])
	s := math.Cbrt(0.0883024619*v[0] + 0.2817188376*v[1] + 0.6299787005*v[2])
	return [3]float64{0.2104542553*l + 0.7936177850*m - 0.0040720468*s, 1.9779984951*l - 2.4285922050*m + 0.4505937099*s, 0.0259040371*l + 0.7827717662*m - 0.8086757660*s}
}

// contrast is the ratio of WCAG 2.2, "contrast ratio".
func contrast(a, b color.NRGBA) float64 {
	luminance := func(c color.NRGBA) float64 {
		v := linear(c)
		return 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// seenApart is how far two colours are apart for a kind of vision.
func seenApart(m [3][3]float64, x, y color.NRGBA) float64 {
	a, b := oklab(times(m, linear(x))), oklab(times(m, linear(y)))
	return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
}

// Text has a contrast of 4.5 (WCAG 2.2, 1.4.3 AA), curves of 3 (1.4.11), and any
// two curves differ for readers with any one kind of cone missing: by 0.12 in
// OKLab, six times what can just be told (0.02: common practice, no source).
func TestPalette(t *testing.T) {
	for _, p := range []*Palette{&Light, &Dark} {
		for _, c := range []color.NRGBA{p.Ink, p.Soft} {
			if r := contrast(c, p.Paper); r < 4.5 {
				t.Errorf("%s: text %v has contrast %.2f", p.Name, c, r)
			}
		}
		for what, colours := range map[string][]color.NRGBA{"style": p.Styles[:], "quantity": p.Quantities[:]} {
			for i, c := range colours {
				if r := contrast(c, p.Paper); r < 3 {
					t.Errorf("%s: %s %d has contrast %.2f", p.Name, what, i, r)
				}
				for k := range i {
					for name, m := range vision {
						if d := seenApart(m, c, colours[k]); d < 0.12 {
							t.Errorf("%s, %s: %s %d and %d are %.3f apart", p.Name, name, what, k, i, d)
						}
					}
				}
			}
		}
		for i, c := range p.Quantities { // never in one picture with devices, but of another colour
			for k, style := range p.Styles {
				if d := seenApart(vision["all cones"], c, style); d < 0.12 {
					t.Errorf("%s: quantity %d and style %d are %.3f apart", p.Name, i, k, d)
				}
			}
		}
		seen := map[color.NRGBA]bool{}
		for _, c := range p.Colours() {
			if seen[c] {
				t.Errorf("%s: %v twice", p.Name, c)
			}
			seen[c] = true
		}
		if len(p.Colours()) != len(Names) {
			t.Errorf("%s: %d colours, %d names", p.Name, len(p.Colours()), len(Names))
		}
	}
}

// No two styles are the same, and where a colour comes again, marker and dashes do not.
func TestStylesAreAllDifferent(t *testing.T) {
	seen := map[string]bool{}
	for i := range Styles {
		look := fmt.Sprint(Light.colour(i), form(i))
		if seen[look] {
			t.Errorf("style %d looks like another", i)
		}
		seen[look] = true
	}
}

// No two styles have the same marker or the same dashes: colour says nothing alone.
func TestStylesDifferWithoutColour(t *testing.T) {
	for i := range Light.Styles {
		for k := range i {
			if cmp.Equal(dashesOf(i, 1), dashesOf(k, 1)) {
				t.Errorf("styles %d and %d have the same dashes", i, k)
			}
			if cmp.Equal(fmt.Sprint(outline(i, vgPoint(0, 0), 1)), fmt.Sprint(outline(k, vgPoint(0, 0), 1))) {
				t.Errorf("styles %d and %d have the same marker", i, k)
			}
		}
	}
}

func vgPoint(x, y float64) vg.Point { return vg.Point{X: vg.Length(x), Y: vg.Length(y)} }
