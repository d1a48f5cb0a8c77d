package chart

import (
	"cmp"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
)

// A panel of rows has a list of things in place of its y axis: each row is a name with
// stretches of the x axis, which hold their own words, and values with intervals.

// Row is one line of a panel of rows.
type Row struct {
	Group  string // of this row and its neighbours that have the same
	Name   string
	Pieces []Piece
	Spots  []Spot
	Note   string // right of the axes
}

// Piece is a stretch of a row.
type Piece struct {
	Reach
	Kind  PieceKind
	Style int // of Lead and Range
	// Words are ways to say what the piece is, the longest first, in lines. The first that
	// has room is written; none where none has.
	Words []string
}

// PieceKind is what a piece of a row says, and how it is drawn.
type PieceKind int

const (
	PieceLead  PieceKind = iota // the side with the style is ahead: its colour, its marker, and its dashes beneath
	PieceLevel                  // level within the margin: grey, two bars
	PieceOpen                   // it cannot be told: open, a dashed edge
	PieceKept                   // a setting that is not kept: hatched
	PieceRange                  // a range of the style's curve: its colour
)

// Spot is a value in a row with its interval; bounds that are NaN are not known.
type Spot struct {
	At, Lower, Upper float64
	Style            int
	Crossing         bool   // an upright line in place of the marker
	Open             bool   // it cannot be told: a question mark in place of the marker
	Words            string // above it, where there is room
}

// Heights in a panel of rows, in text sizes.
const (
	leastRow    = 1.5 // below which rows are not to be read
	mostRow     = 8.5
	narrowRow   = 3.0 // with its name above it
	narrowLead  = 5.6 // the same with words in two lines, and above it
	groupGap    = 0.5
	pieceEdge   = 0.2  // of the line beneath a lead
	rowGroupMax = 0.17 // of the width, which names of groups may take
	rowNameMax  = 0.19 // the same of names of rows
	rowNoteMax  = 0.24
)

// rowGaps is the room between groups.
func (f *frame) rowGaps(p *Panel) float64 {
	n := 0
	for i := 1; i < len(p.Rows); i++ {
		if p.Rows[i].Group != p.Rows[i-1].Group {
			n++
		}
	}
	return float64(n) * f.size.Text * groupGap
}

// rowsHeight is the height of the axes of a panel of rows, so high each.
func (f *frame) rowsHeight(p *Panel, row float64) float64 {
	if !f.size.Labels {
		row = max(row, narrowRow)
		if slices.ContainsFunc(p.Rows, func(r Row) bool {
			return slices.ContainsFunc(r.Pieces, func(q Piece) bool { return q.Kind <= PieceOpen })
		}) {
			row = max(row, narrowLead)
		}
	}
	return float64(len(p.Rows))*row*f.size.Text + f.rowGaps(p)
}

// onlyRows tells whether all panels of a chart are of rows.
func (c *Chart) onlyRows() bool {
	for i := range c.Panels {
		if len(c.Panels[i].Rows) == 0 {
			return false
		}
	}
	return len(c.Panels) > 0
}

// heights shares the room for axes among the panels: those of rows take what they need
// beside others, and all that there is, up to a limit, where there are no others.
func (f *frame) heights(free float64) []float64 {
	out := make([]float64, len(f.chart.Panels))
	rows, others := 0, 0
	for i := range f.chart.Panels {
		if n := len(f.chart.Panels[i].Rows); n > 0 {
			rows += n
		} else {
			others++
		}
	}
	only := f.chart.onlyRows()
	left := free
	for i := range f.chart.Panels {
		p := &f.chart.Panels[i]
		if len(p.Rows) == 0 {
			continue
		}
		out[i] = f.rowsHeight(p, leastRow)
		if only {
			out[i] = min(free*float64(len(p.Rows))/float64(rows), f.rowsHeight(p, mostRow))
		}
		left -= out[i]
	}
	for i := range f.chart.Panels {
		if len(f.chart.Panels[i].Rows) == 0 {
			out[i] = left / float64(others)
		}
	}
	return out
}

// rowNames are the widths of the names left of a panel of rows; 0 where they stand above.
func (f *frame) rowNames(p *Panel) (group, name float64) {
	if !f.size.Labels {
		return 0, 0
	}
	for _, r := range p.Rows {
		for _, line := range f.nameType().lines(clean(r.Group), f.size.Width*rowGroupMax) {
			group = max(group, f.nameType().width(line))
		}
		name = max(name, min(f.tickType().width(clean(r.Name)), f.size.Width*rowNameMax))
	}
	return group, name
}

// rowGutter is the width of what stands left of the axes.
func (f *frame) rowGutter(p *Panel) float64 {
	group, name := f.rowNames(p)
	w := f.size.Text * 0.2
	for _, part := range []float64{group, name} {
		if part > 0 {
			w += part + f.size.Text*0.7
		}
	}
	return w
}

// noteRoom is the width of the notes right of a panel of rows.
func (f *frame) noteRoom(p *Panel) float64 {
	if !f.size.Labels {
		return 0
	}
	w := 0.0
	for _, r := range p.Rows {
		w = max(w, min(f.tickType().width(clean(r.Note)), f.size.Width*rowNoteMax))
	}
	if w > 0 {
		w += f.size.Text * 0.9
	}
	return w
}

// rows draws a panel of rows.
func (f *frame) rowsOf(p *Panel, x scale, r room) {
	l := f.tickType()
	for _, t := range f.xNumbers(x, r.x1-r.x0) {
		f.line(stroke{colour: f.palette.Grid, width: 1}, [2]float64{x.at(t.at), r.y0}, [2]float64{x.at(t.at), r.y1})
	}
	for _, g := range p.Guides {
		if g.X != nil {
			s := stroke{colour: f.palette.Soft, width: 1.6, dashes: []vgLen{6, 4}}
			if g.Thick {
				s = stroke{colour: f.palette.Ink, width: 1.8}
			}
			f.line(s, [2]float64{x.at(*g.X), r.y0}, [2]float64{x.at(*g.X), r.y1})
		}
	}
	group, _ := f.rowNames(p)
	pitch := (r.y1 - r.y0 - f.rowGaps(p)) / float64(max(1, len(p.Rows)))
	y, top := r.y0, r.y0
	for i := range p.Rows {
		row := &p.Rows[i]
		if i > 0 && row.Group != p.Rows[i-1].Group {
			y += f.size.Text * groupGap
			f.line(stroke{colour: f.palette.Grid, width: 1.4}, [2]float64{r.left, y - f.size.Text*groupGap/2}, [2]float64{r.x1, y - f.size.Text*groupGap/2})
			top = y
		}
		f.row(row, x, r, y, y+pitch, group)
		y += pitch
		if f.size.Labels && (i == len(p.Rows)-1 || p.Rows[i+1].Group != row.Group) {
			lines := f.nameType().wrap(clean(row.Group), f.size.Width*rowGroupMax, max(1, int((y-top)/(f.size.Text*1.15))))
			f.writeLines(lines, r.left, (top+y)/2-float64(len(lines))*f.size.Text*0.575, f.nameType(), 0.88, f.size.Text*1.15, f.palette.Ink)
		}
		if f.size.Labels && row.Note != "" {
			f.text(r.x1+f.size.Text*0.7, y-pitch/2+l.size*0.35, l.short(clean(row.Note), f.size.Width*rowNoteMax), l, f.palette.Ink, left)
		}
	}
	f.line(stroke{colour: f.palette.Soft, width: 1.2}, [2]float64{r.x0, r.y1}, [2]float64{r.x1, r.y1})
}

// row draws one row between two heights.
func (f *frame) row(row *Row, x scale, r room, y0, y1, group float64) {
	l := f.tickType()
	if f.size.Labels {
		from := r.left
		if group > 0 {
			from += group + f.size.Text*0.7
		}
		lines := l.wrap(clean(row.Name), f.size.Width*rowNameMax, max(1, int((y1-y0)/(l.size*1.15))))
		if len(lines) == 1 {
			lines[0] = l.short(clean(row.Name), f.size.Width*rowNameMax)
		}
		f.writeLines(lines, from, (y0+y1)/2-float64(len(lines))*l.size*0.575, l, 0.92, l.size*1.15, f.palette.Ink)
	} else {
		name := strings.TrimPrefix(clean(row.Group)+", "+clean(row.Name), ", ")
		if row.Name == "" {
			name = clean(row.Group)
		}
		if row.Note != "" {
			name += ": " + clean(row.Note)
		}
		f.text(r.left, y0+l.size*1.05, f.nameType().short(name, r.x1-r.left), f.nameType(), f.palette.Ink, left)
		y0 += f.size.Text * 1.25
	}
	words := ""
	for _, s := range row.Spots {
		words = cmp.Or(words, s.Words)
	}
	top := y0 + (y1-y0)*0.08
	if words != "" && y1-y0 > f.size.Text*2.9 {
		top = y0 + f.size.Text*1.05
	} else {
		words = ""
	}
	bottom := y1 - (y1-y0)*0.05
	if most := f.size.Text * 3.2; bottom-top > most {
		bottom, top = (top+bottom+most)/2, (top+bottom-most)/2
	}
	for i, p := range row.Pieces {
		if f.piece(p, x, r, top, bottom) || len(p.Words) == 0 || p.Kind != PieceRange && p.Kind != PieceKept {
			continue
		}
		// The words stand right or left of a piece that is too narrow for them.
		free, text := r.x1, clean(strings.ReplaceAll(p.Words[0], "\n", " "))
		if i+1 < len(row.Pieces) {
			free = x.at(row.Pieces[i+1].From)
		}
		if from := x.at(p.To) + f.size.Text*0.4; from+l.width(text) < free {
			f.text(from, (top+bottom)/2+l.size*0.35, text, l, f.palette.Ink, left)
		} else if to := x.at(p.From) - f.size.Text*0.4; i == 0 && to-l.width(text) > r.x0 {
			f.text(to, (top+bottom)/2+l.size*0.35, text, l, f.palette.Ink, right)
		}
	}
	last := math.Inf(-1) // where the words before end
	for _, s := range row.Spots {
		f.spot(s, x, top, bottom)
		if text := l.short(clean(s.Words), r.x1-r.x0); words != "" && text != "" {
			w := l.width(text)
			at := min(max(x.at(s.At)-w/2, r.x0), r.x1-w)
			if at <= last { // the place alone, beside the words before
				text, _, _ = strings.Cut(text, " (")
				w = l.width(text)
				at = min(max(x.at(s.At)-w/2, last), r.x1-w)
			}
			if at >= last && at <= x.at(s.At) {
				f.halo(at, top-f.size.Text*0.3, text, l, f.palette.Ink, left)
				last = at + w + f.size.Text*0.5
			}
		}
	}
}

// spot draws a value with its interval.
func (f *frame) spot(s Spot, x scale, top, bottom float64) {
	y, at := (top+bottom)/2, x.at(s.At)
	colour := f.palette.colour(s.Style)
	if s.Crossing {
		f.line(stroke{colour: f.palette.Ink, width: 2.2}, [2]float64{at, top - 3}, [2]float64{at, bottom + 3})
		y = top
		colour = f.palette.Ink
	}
	if !math.IsNaN(s.Lower) && !math.IsNaN(s.Upper) {
		f.level(max(x.at(s.Lower), x.from), min(x.at(s.Upper), x.to), y, barEnd*0.75, stroke{colour: colour, width: 2})
	}
	switch {
	case s.Crossing:
	case s.Open:
		l := lettering{f.size.Text, true}
		f.halo(at-l.width("?")/2, y+l.size*0.35, "?", l, f.palette.Ink, left)
	default:
		f.marker(s.Style, at, y, f.size.Text*0.32)
	}
}

// level draws a level interval bar with its ends.
func (f *frame) level(x0, x1, y, end float64, s stroke) {
	f.line(s, [2]float64{x0, y}, [2]float64{x1, y})
	for _, x := range []float64{x0, x1} {
		f.line(s, [2]float64{x, y - end}, [2]float64{x, y + end})
	}
}

// piece draws a stretch of a row, and tells whether there was room for its words.
func (f *frame) piece(p Piece, x scale, r room, top, bottom float64) bool {
	x0, x1 := max(x.at(p.From), r.x0), min(x.at(p.To), r.x1)
	if !(x0 < x1) {
		return true
	}
	x0, x1 = x0+0.75, x1-0.75
	ink := f.palette.Ink
	edge := stroke{colour: f.palette.Soft, width: 1}
	words, floor := x0, bottom
	switch p.Kind {
	case PieceLead, PieceRange:
		colour := f.palette.colour(p.Style)
		f.fill(x0, top, x1, bottom, faded(colour, 0x4a))
		edge.colour = colour
		if p.Kind == PieceLead {
			under := min(f.size.Text*pieceEdge, (bottom-top)*0.13)
			f.line(stroke{colour, under, dashesOf(p.Style, under*0.7)}, [2]float64{x0, bottom - under/2}, [2]float64{x1, bottom - under/2})
			floor = bottom - under
			words = f.pieceSign(x0, x1, top, floor, func(x, y, r float64) { f.marker(p.Style, x, y, r) })
		}
	case PieceLevel:
		f.fill(x0, top, x1, bottom, f.palette.Grid)
		words = f.pieceSign(x0, x1, top, bottom, func(x, y, r float64) {
			for _, dy := range []float64{-0.5, 0.5} {
				f.line(stroke{colour: f.palette.Ink, width: 2}, [2]float64{x - r, y + dy*r}, [2]float64{x + r, y + dy*r})
			}
		})
	case PieceOpen:
		ink = f.palette.Soft
		edge.dashes = []vg.Length{3, 3}
	case PieceKept:
		ink = f.palette.Soft
		f.hatch(x0, top, x1, bottom)
	}
	f.line(edge, [2]float64{x0, top}, [2]float64{x1, top}, [2]float64{x1, bottom}, [2]float64{x0, bottom}, [2]float64{x0, top})
	return f.pieceWords(p, words, x1, top, floor, ink)
}

// pieceSign draws the sign of a piece at its left, in its middle where it is narrow, and
// returns where its words may begin.
func (f *frame) pieceSign(x0, x1, top, bottom float64, draw func(x, y, r float64)) float64 {
	r := min(f.size.Text*0.36, (x1-x0)*0.4, (bottom-top)*0.36)
	y := (top + bottom) / 2
	if x1-x0 < f.size.Text*3 {
		draw((x0+x1)/2, y, r)
		return x1
	}
	draw(x0+f.size.Text*0.75, y, r)
	return x0 + f.size.Text*1.1
}

// pieceWords writes the first of a piece's words that has room, and tells whether any has.
func (f *frame) pieceWords(p Piece, x0, x1, top, bottom float64, ink color.Color) bool {
	l := f.tickType()
	width := x1 - x0 - f.size.Text*0.5
	most := int((bottom - top) / (l.size * 1.04))
	for _, text := range p.Words {
		lines := strings.Split(text, "\n")
		if one := strings.Join(lines, " "); l.width(clean(one)) <= width {
			lines = []string{one}
		}
		widest := 0.0
		for i := range lines {
			lines[i] = clean(lines[i])
			widest = max(widest, l.width(lines[i]))
		}
		if len(lines) > most || widest > width {
			continue
		}
		y := (top+bottom)/2 - float64(len(lines))*l.size*0.53
		for _, s := range lines {
			at := (x0+x1)/2 - l.width(s)/2
			if p.Kind == PieceKept {
				f.halo(at, y+l.size*0.86, s, l, ink, left)
			} else {
				f.text(at, y+l.size*0.86, s, l, ink, left)
			}
			y += l.size * 1.06
		}
		return true
	}
	return false
}

// hatch fills a rectangle with slanting lines.
func (f *frame) hatch(x0, y0, x1, y1 float64) {
	const step = 9
	h := y1 - y0
	s := stroke{colour: f.palette.Soft, width: 0.8}
	for x := x0 - h + step; x < x1; x += step {
		a, b := [2]float64{x, y1}, [2]float64{x + h, y0}
		if a[0] < x0 {
			a = [2]float64{x0, y1 - (x0 - x)}
		}
		if b[0] > x1 {
			b = [2]float64{x1, y0 + (x + h - x1)}
		}
		f.line(s, a, b)
	}
}

// comfortRow is the height of a row above which a picture that need not have a fixed height
// only becomes emptier, in text sizes.
const comfortRow = 5

// fitting is a size as low as a chart of few rows wants it, where its height is not fixed by
// the medium.
func fitting(c *Chart, s Size) Size {
	if !c.onlyRows() || s.Height == 0 {
		return s
	}
	f := newFrame(nil, c, s, &Light)
	h := f.headHeight() + f.keyHeight() + f.footHeight() + 2*f.pad
	for i := range c.Panels {
		h += f.panelHead(&c.Panels[i]) + f.rowsHeight(&c.Panels[i], comfortRow) + f.panelFoot(i)
	}
	s.Height = min(s.Height, h)
	return s
}
