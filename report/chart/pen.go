package chart

import (
	"image/color"
	"strings"
	"sync"
	"unicode/utf8"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"sweepd/run"
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
	written func(b box, size float64, text string) // told of each text; nil: nobody is
}

// Letters reach so far above and below their line, in sizes of the text.
const (
	textAbove = 0.74
	textBelow = 0.22
)

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
	w := 0.0
	for _, p := range l.parts(s) {
		face := p.face()
		w += float64(face.Width(p.text))
	}
	return w
}

// raised are the figures of exponents. The face has not all of them: they are drawn
// as small figures above the line.
var raised = map[rune]rune{'⁻': '−', '⁰': '0', '¹': '1', '²': '2', '³': '3', '⁴': '4', '⁵': '5', '⁶': '6', '⁷': '7', '⁸': '8', '⁹': '9'}

const (
	raisedSize = 0.85 // of the size of the text: smaller cannot be read in a small picture
	raisedBy   = 0.3  // of the size of the text
)

// part is a piece of a line in one size, and how far it stands above the line.
type part struct {
	lettering
	text string
	up   float64
}

// parts are a line in pieces of one size each.
func (l lettering) parts(s string) []part {
	if !strings.ContainsFunc(s, isRaised) {
		return []part{{l, s, 0}}
	}
	var list []part
	for _, r := range s {
		p := part{l, string(r), 0}
		if figure, ok := raised[r]; ok {
			p = part{lettering{l.size * raisedSize, l.bold}, string(figure), l.size * raisedBy}
		}
		if n := len(list); n > 0 && list[n-1].up == p.up {
			list[n-1].text += p.text
		} else {
			list = append(list, p)
		}
	}
	return list
}

func isRaised(r rune) bool { return raised[r] != 0 }

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
	if p.written != nil {
		p.written(box{x, y - l.size*textAbove, x + l.width(s), y + l.size*textBelow}, l.size, s)
	}
	p.c.SetColor(c)
	for _, part := range l.parts(s) {
		// A picture leaves out the blanks that a text begins with.
		word := strings.TrimLeft(part.text, " ")
		p.c.FillString(part.face(), p.at(x+part.width(part.text)-part.width(word), y-part.up), word)
		x += part.width(part.text)
	}
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

// marker draws a style's marker with a rim of paper.
func (p *pen) marker(style int, x, y, r float64) {
	path := outline(style, p.at(x, y), vg.Length(r))
	p.c.SetColor(p.palette.colour(style))
	p.c.Fill(path)
	p.stroke(stroke{colour: p.palette.Paper, width: 1}, path)
}

// hollow draws a marker's outline.
func (p *pen) hollow(style int, x, y, r float64) {
	path := outline(style, p.at(x, y), vg.Length(r))
	p.c.SetColor(p.palette.Paper)
	p.c.Fill(path)
	p.stroke(stroke{colour: p.palette.colour(style), width: 2}, path)
}

// cross draws a small cross.
func (p *pen) cross(x, y, r float64, c color.Color) {
	p.line(stroke{colour: c, width: 2}, [2]float64{x - r, y - r}, [2]float64{x + r, y + r})
	p.line(stroke{colour: c, width: 2}, [2]float64{x - r, y + r}, [2]float64{x + r, y - r})
}

// wrap breaks a text into lines of at most the width; the last of most lines is
// cut with an ellipsis.
func (l lettering) wrap(text string, width float64, most int) []string {
	lines := l.lines(text, width)
	if len(lines) > most {
		lines = append(lines[:most-1], strings.Join(lines[most-1:], " "))
	}
	for i := range lines {
		lines[i] = l.cut(lines[i], width)
	}
	return lines
}

// lines breaks a text at blanks into lines of at most the width. A word that is
// wider is broken behind its hyphens and the like, and where that is not enough,
// anywhere.
func (l lettering) lines(text string, width float64) []string {
	var lines []string
	line := ""
	add := func(joint, word string) {
		if line != "" && l.width(line+joint+word) > width {
			lines = append(lines, line)
			line = word
		} else if line == "" {
			line = word
		} else {
			line += joint + word
		}
	}
	for _, word := range strings.Fields(text) {
		if l.width(word) <= width {
			add(" ", word)
			continue
		}
		joint := " "
		for _, piece := range strings.SplitAfter(markJoints.Replace(word), jointMark) {
			piece = strings.TrimSuffix(piece, jointMark)
			if l.width(piece) <= width {
				add(joint, piece)
				joint = ""
				continue
			}
			for _, r := range piece {
				add(joint, string(r))
				joint = ""
			}
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// markJoints marks the places inside a word where it may be broken.
const jointMark = "\x00"

var markJoints = strings.NewReplacer("-", "-"+jointMark, "_", "_"+jointMark, "/", "/"+jointMark, ",", ","+jointMark, "=", "="+jointMark, ".", "."+jointMark)

// short leaves out of the middle of a text what does not fit a width.
func (l lettering) short(text string, width float64) string {
	if l.width(text) <= width {
		return text
	}
	r := []rune(text)
	for keep := len(r); keep > 1; keep-- {
		if s := leaveOut(r, keep); l.width(s) <= width {
			return s
		}
	}
	return "…"
}

// leaveOut keeps so many letters of a text, an ellipsis in its middle among them.
func leaveOut(r []rune, keep int) string {
	if keep >= len(r) {
		return string(r)
	}
	keep = max(keep, 1)
	tail := (keep - 1) / 2
	return string(r[:keep-1-tail]) + "…" + string(r[len(r)-tail:])
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

// clean makes a text visible, without the two characters that XML may not hold: text
// in a data file may come from elsewhere.
func clean(text string) string {
	return strings.NewReplacer("\ufffe", "\ufffd", "\uffff", "\ufffd").Replace(run.Visible(text))
}
