package chart

import (
	"image/color"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// faces are the two faces of the house style. Their widths are those of the
// common sans serif faces, so that a page without them keeps its layout.
var faces = sync.OnceValue(func() map[bool]*opentype.Font {
	out := map[bool]*opentype.Font{}
	for bold, ttf := range map[bool][]byte{false: liberationsansregular.TTF, true: liberationsansbold.TTF} {
		f, err := opentype.Parse(ttf)
		if err != nil {
			panic("the built-in font cannot be read: " + err.Error())
		}
		out[bold] = f
	}
	return out
})

// pen draws on a canvas whose origin is the upper left corner.
type pen struct {
	c       vg.Canvas
	palette *Palette
	height  float64
}

func (p *pen) at(x, y float64) vg.Point {
	return vg.Point{X: vg.Length(x), Y: vg.Length(p.height - y)}
}

// lettering is a size and weight of text.
type lettering struct {
	size float64
	bold bool
}

func (l lettering) face() font.Face {
	f := font.Face{Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Length(l.size)}, Face: faces()[l.bold]}
	if l.bold {
		f.Font.Weight = xfont.WeightBold
	}
	return f
}

func (l lettering) width(s string) float64 {
	face := l.face()
	return float64(face.Width(s))
}

// has tells whether the face has every letter of a text.
func (l lettering) has(s string) bool {
	f := faces()[l.bold]
	var b sfnt.Buffer
	for _, r := range s {
		if i, err := f.GlyphIndex(&b, r); err != nil || i == 0 {
			return false
		}
	}
	return s != ""
}

// align says which part of a text stands at its place.
type align float64

const (
	left   align = 0
	middle align = 0.5
	right  align = 1
)

// text writes one line with its baseline at y.
func (p *pen) text(x, y float64, s string, l lettering, c color.Color, a align) {
	if s == "" {
		return
	}
	if a != left {
		x -= float64(a) * l.width(s)
	}
	p.c.SetColor(c)
	p.c.FillString(l.face(), p.at(x, y), s)
}

// halo writes a line of text on a patch of paper, so that lines behind it do not
// cross it.
func (p *pen) halo(x, y float64, s string, l lettering, c color.Color, a align) {
	if s == "" {
		return
	}
	w := l.width(s)
	x0 := x - float64(a)*w
	p.fill(x0-2, y-l.size*0.86, x0+w+2, y+l.size*0.26, faded(p.palette.Paper, 0xd8))
	p.text(x, y, s, l, c, a)
}

type stroke struct {
	colour color.Color
	width  float64
	dashes []vg.Length
}

func (p *pen) line(s stroke, points ...[2]float64) {
	if len(points) < 2 {
		return
	}
	var path vg.Path
	for i, q := range points {
		if i == 0 {
			path.Move(p.at(q[0], q[1]))
		} else {
			path.Line(p.at(q[0], q[1]))
		}
	}
	p.stroke(s, path)
}

func (p *pen) stroke(s stroke, path vg.Path) {
	p.c.SetColor(s.colour)
	p.c.SetLineWidth(vg.Length(s.width))
	p.c.SetLineDash(s.dashes, 0)
	p.c.Stroke(path)
}

func (p *pen) fill(x0, y0, x1, y1 float64, c color.Color) {
	var path vg.Path
	path.Move(p.at(x0, y0))
	path.Line(p.at(x1, y0))
	path.Line(p.at(x1, y1))
	path.Line(p.at(x0, y1))
	path.Close()
	p.c.SetColor(c)
	p.c.Fill(path)
}

// marker draws a look's marker with a rim of paper.
func (p *pen) marker(look int, x, y, r float64) {
	path := outline(look, p.at(x, y), vg.Length(r))
	p.c.SetColor(p.palette.look(look))
	p.c.Fill(path)
	p.stroke(stroke{colour: p.palette.Paper, width: 1}, path)
}

// hollow draws a marker's outline.
func (p *pen) hollow(look int, x, y, r float64) {
	path := outline(look, p.at(x, y), vg.Length(r))
	p.c.SetColor(p.palette.Paper)
	p.c.Fill(path)
	p.stroke(stroke{colour: p.palette.look(look), width: 2}, path)
}

// cross draws a small cross.
func (p *pen) cross(x, y, r float64, c color.Color) {
	p.line(stroke{colour: c, width: 2}, [2]float64{x - r, y - r}, [2]float64{x + r, y + r})
	p.line(stroke{colour: c, width: 2}, [2]float64{x - r, y + r}, [2]float64{x + r, y - r})
}

// wrap breaks a text at blanks into lines of at most the width; the last of most
// lines is cut with an ellipsis.
func (l lettering) wrap(text string, width float64, most int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		joined := strings.TrimSpace(line + " " + word)
		if line != "" && l.width(joined) > width {
			lines = append(lines, line)
			line = word
		} else {
			line = joined
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	if len(lines) > most {
		lines = append(lines[:most-1], strings.Join(lines[most-1:], " "))
	}
	for i := range lines {
		lines[i] = l.cut(lines[i], width)
	}
	return lines
}

// cut shortens a text to a width and marks the cut.
func (l lettering) cut(text string, width float64) string {
	if l.width(text) <= width {
		return text
	}
	for text != "" {
		_, size := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-size]
		if short := strings.TrimRight(text, " ,") + "…"; l.width(short) <= width {
			return short
		}
	}
	return "…"
}

// clean keeps what no font draws and no XML may hold out of a picture: text in a
// data file may come from elsewhere.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == 0xfffe || r == 0xffff {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
}
