package chart

import (
	"image/color"

	"gonum.org/v1/plot/vg"
)

// Size is the form in which a chart is drawn.
type Size struct {
	Width, Height float64 // in points; Height 0 fits the panels
	Text          float64 // size of the running text
	Labels        bool    // names of curves stand at their ends, else above
	Stacked       bool    // panels stand one above the other, also those that could be side by side
}

// Wide is 16:9, for screens, paper and videos; Square and Upright, 9:16, are for what is seen
// on a phone; Narrow is for a page on a phone, as high as its panels want.
var (
	Wide    = Size{Width: 960, Height: 540, Text: 17, Labels: true}
	Square  = Size{Width: 720, Height: 720, Text: 17, Labels: true, Stacked: true}
	Upright = Size{Width: 540, Height: 960, Text: 17, Stacked: true}
	Narrow  = Size{Width: 390, Text: 15, Stacked: true}
)

// frame lays out one chart.
type frame struct {
	*pen
	chart  *Chart
	size   Size
	pad    float64
	most   wordy
	items  int  // of the key that are drawn
	atEnds bool // names of curves stand at their ends
}

// wordy is how many lines words may take: the title, each line beneath it, an item of the
// key, a line of the footer, a panel's title or quantity.
type wordy struct{ title, line, item, foot, panel int }

// terser are the limits that are tried until the panels have room.
var terser = []wordy{{3, 3, 3, 3, 2}, {3, 2, 2, 2, 2}, {2, 1, 1, 2, 2}, {2, 1, 1, 1, 1}, {1, 1, 1, 1, 1}}

// narrowPanel is the height of a panel's axes on a phone.
const narrowPanel = 250

// heightOf is the height that a chart takes in a size.
func heightOf(c *Chart, s Size) float64 {
	if s.Height > 0 {
		return s.Height
	}
	f := newFrame(nil, c, s, &Light)
	h := f.headHeight() + f.keyHeight() + f.footHeight() + 2*f.pad
	for i := range c.Panels {
		each := float64(narrowPanel)
		if c.Sharing {
			each = narrowPanel * 0.7
		}
		if p := &c.Panels[i]; len(p.Rows) > 0 {
			each = f.rowsHeight(p, narrowRow)
		}
		h += each + f.panelHead(&c.Panels[i]) + f.panelFoot(i)
	}
	return h
}

func newFrame(c vg.Canvas, chart *Chart, s Size, p *Palette) *frame {
	f := &frame{pen: &pen{c: c, palette: p}, chart: chart, size: s, pad: 30}
	f.items, f.atEnds, f.most = len(chart.Key), s.Labels, terser[0]
	if !s.Labels {
		f.pad = 12
		f.most = wordy{6, 6, 3, 6, 4}
	}
	if s.Height > 0 {
		f.height = s.Height
		f.tighten()
	}
	return f
}

// tighten shortens words until the panels have room, and puts names above the panels where
// they do not fit at the ends of curves.
func (f *frame) tighten() {
	f.shorten()
	if f.atEnds && !f.namesFit() {
		f.atEnds = false
		f.shorten()
	}
}

// shorten takes the longest words with which the panels have room.
func (f *frame) shorten() {
	for _, f.most = range terser {
		if f.lacking() <= 0 {
			return
		}
	}
	for f.items > 0 && f.lacking() > 0 {
		f.items--
	}
}

// leastPanel is the least height of a panel's axes, in text sizes: room for three numbers,
// or, where several panels share an x axis, for one.
func (f *frame) leastPanel() float64 {
	if f.chart.Sharing {
		return max(1.6, 7/float64(len(f.chart.Panels)))
	}
	return 4
}

// lacking is the height by which a picture of fixed height is too low for its panels.
func (f *frame) lacking() float64 {
	need := 0.0
	for _, stack := range f.stacks() {
		h := 0.0
		for _, i := range stack {
			p := &f.chart.Panels[i]
			own := f.size.Text*f.leastPanel() + f.beneath(p)
			if len(p.Rows) > 0 {
				own = f.rowsHeight(p, leastRow)
			}
			h += f.panelHead(p) + f.panelFoot(i) + own
		}
		need = max(need, h)
	}
	return need - f.forPanels()
}

// forPanels is the height that panels have, with their words.
func (f *frame) forPanels() float64 {
	return f.size.Height - 2*f.pad - f.headHeight() - f.keyHeight() - f.footHeight()
}

// stacks are the panels that stand one above the other.
func (f *frame) stacks() [][]int {
	if f.isAside() {
		left, right := f.columns()
		return [][]int{left, right}
	}
	var list [][]int
	for i := range f.chart.Panels {
		if f.isBeside() || len(list) == 0 {
			list = append(list, nil)
		}
		list[len(list)-1] = append(list[len(list)-1], i)
	}
	return list
}

// namesFit tells whether the names of every panel's curves have room beside its axes.
func (f *frame) namesFit() bool {
	n := len(f.chart.Panels)
	if n == 0 || f.chart.Aside {
		return true
	}
	each := f.forPanels()
	for i := range f.chart.Panels {
		around := f.panelHead(&f.chart.Panels[i]) + f.panelFoot(i)
		switch {
		case f.chart.Sharing: // names may stand beside the words around the axes
		case f.isBeside():
			each = min(each, f.forPanels()-around)
		default:
			each -= around
		}
	}
	if !f.isBeside() {
		each /= float64(n)
	}
	for i := range f.chart.Panels {
		h := 0.0
		for _, s := range f.chart.Panels[i].Series {
			if s.Name != "" && !f.namedLater(i, s.Name) {
				h += float64(len(f.nameLines(s.Name)))*f.size.Text*1.2 + f.size.Text*nameApart
			}
		}
		if h > each+f.size.Text*nameApart {
			return false
		}
	}
	return true
}

// draw draws the chart on a canvas of the size's width and heightOf's height.
func draw(c vg.Canvas, chart *Chart, s Size, p *Palette) {
	newFrame(c, chart, s, p).paint()
}

// paint draws the chart.
func (f *frame) paint() {
	f.height = heightOf(f.chart, f.size)
	f.fill(0, 0, f.size.Width, f.height, f.palette.Paper)
	top := f.head()
	foot := f.height - f.pad - f.footHeight()
	bottom := foot - f.keyHeight()
	f.panels(top, bottom)
	f.key(bottom)
	f.foot(foot)
}

func (f *frame) titleType() lettering { return lettering{f.size.Text * 1.42, true} }
func (f *frame) lineType() lettering  { return lettering{f.size.Text * 0.94, false} }
func (f *frame) tickType() lettering  { return lettering{f.size.Text * 0.94, false} }
func (f *frame) nameType() lettering  { return lettering{f.size.Text, true} }
func (f *frame) footType() lettering  { return lettering{f.size.Text * 0.8, false} }

func (f *frame) inner() float64 { return f.size.Width - 2*f.pad }

// titleLines and subLines are the words above the panels.
func (f *frame) titleLines() []string {
	return f.titleType().wrap(f.chart.Title, f.inner(), f.most.title)
}

func (f *frame) subLines() []string {
	var lines []string
	for _, s := range f.chart.Lines {
		lines = append(lines, f.lineType().wrap(s, f.inner(), f.most.line)...)
	}
	return lines
}

func (f *frame) headHeight() float64 {
	h := float64(len(f.titleLines()))*f.titleType().size*1.2 + float64(len(f.subLines()))*f.lineType().size*1.35
	if items := f.nameItems(); len(items) > 0 {
		h += f.itemsHeight(items) + f.size.Text*0.4
	}
	return h + f.size.Text*0.5
}

// head writes the words above the panels and returns where the panels begin.
func (f *frame) head() float64 {
	y := f.pad * 0.8
	title, line := f.titleType(), f.lineType()
	y = f.writeLines(f.titleLines(), f.pad, y, title, 0.9, title.size*1.2, f.palette.Ink)
	y = f.writeLines(f.subLines(), f.pad, y, line, 1, line.size*1.35, f.palette.Soft)
	if items := f.nameItems(); len(items) > 0 {
		y += f.size.Text * 0.4
		f.drawItems(items, y)
		y += f.itemsHeight(items)
	}
	return y + f.size.Text*0.5
}

// footLines are the words beneath the key.
func (f *frame) footLines() []string {
	var lines []string
	for _, s := range f.chart.Footer {
		lines = append(lines, f.footType().wrap(s, f.inner(), f.most.foot)...)
	}
	return lines
}

func (f *frame) footHeight() float64 {
	n := len(f.footLines())
	if n == 0 {
		return 0
	}
	return float64(n)*f.footType().size*footLine + f.size.Text*0.5
}

// footLine is from line to line of the footer, in its text's size.
const footLine = 1.3

// foot writes the footer from the height y downwards.
func (f *frame) foot(y float64) {
	l := f.footType()
	f.writeLines(f.footLines(), f.pad, y+f.size.Text*0.5, l, 0.95, l.size*footLine, f.palette.Soft)
}

// writeLines writes lines from y downwards, a step apart, and returns where the next would
// begin. The baseline lies base, in sizes of the text, below the top of a line.
func (f *frame) writeLines(lines []string, x, y float64, l lettering, base, step float64, c color.Color) float64 {
	for _, s := range lines {
		f.text(x, y+l.size*base, s, l, c, left)
		y += step
	}
	return y
}

// nameItems are the curves' names, where there is no room for them at the curves'
// ends.
func (f *frame) nameItems() []Item {
	if !f.isAside() && (f.atEnds || f.chart.Sharing && !f.chart.Aside) {
		return nil
	}
	return namesOf(f.chart.Panels)
}

// rowItems are the names of a panel's curves, where each of several panels has its
// own.
func (f *frame) rowItems(p *Panel) []Item {
	if f.atEnds || !f.chart.Sharing || f.chart.Aside {
		return nil
	}
	return namesOf([]Panel{*p})
}

func namesOf(panels []Panel) []Item {
	var items []Item
	seen := map[string]bool{}
	for i := range panels {
		for _, s := range panels[i].Series {
			if s.Name == "" || seen[s.Name] {
				continue
			}
			seen[s.Name] = true
			it := Item{Symbol: SymbolSeries, Style: s.Style, Text: s.Name}
			switch {
			case !s.Joined:
				it.Symbol = SymbolPoints
			case s.Bare:
				it.Symbol = SymbolLine
			}
			items = append(items, it)
		}
	}
	return items
}

// panels draws the panels between two heights.
func (f *frame) panels(top, bottom float64) {
	n := len(f.chart.Panels)
	if n == 0 {
		return
	}
	if f.isBeside() {
		f.beside(top, bottom)
		return
	}
	if f.isAside() {
		f.aside(top, bottom)
		return
	}
	rooms := make([]room, n)
	free := bottom - top
	gutter, labels := 0.0, 0.0
	for i := range f.chart.Panels {
		free -= f.panelHead(&f.chart.Panels[i]) + f.panelFoot(i)
		labels = max(labels, f.labelRoom(i))
	}
	each := f.heights(free)
	for i := range f.chart.Panels {
		gutter = max(gutter, f.gutter(&f.chart.Panels[i], each[i]))
	}
	y := top
	for i := range f.chart.Panels {
		y += f.panelHead(&f.chart.Panels[i])
		rooms[i] = room{f.pad + gutter, y, f.size.Width - f.pad - labels, y + each[i], f.pad}
		y += each[i] + f.panelFoot(i)
	}
	for i := range f.chart.Panels {
		f.panel(i, rooms[i])
	}
}

// isBeside tells whether panels stand next to each other.
func (f *frame) isBeside() bool { return f.chart.Beside && !f.size.Stacked && len(f.chart.Panels) > 1 }

// beside draws the panels next to each other.
func (f *frame) beside(top, bottom float64) {
	gap := f.besideGap()
	width := f.besideWidth()
	head, foot := 0.0, 0.0
	for i := range f.chart.Panels {
		head, foot = max(head, f.panelHead(&f.chart.Panels[i])), max(foot, f.panelFoot(i))
	}
	x := f.pad
	for i := range f.chart.Panels {
		f.panel(i, room{x + f.gutter(&f.chart.Panels[i], bottom-top-head-foot), top + head, x + width, bottom - foot, x})
		x += width + f.labelRoom(i) + gap
	}
}

func (f *frame) besideGap() float64 { return f.size.Text * 0.8 }

// besideWidth is the width of each of several panels next to each other.
func (f *frame) besideWidth() float64 {
	n := float64(len(f.chart.Panels))
	width := f.inner() - f.besideGap()*(n-1)
	for i := range f.chart.Panels {
		width -= f.labelRoom(i)
	}
	return width / n
}

// wordsWidth is the width of the words above a panel's axes.
func (f *frame) wordsWidth() float64 {
	if f.isBeside() {
		return f.besideWidth()
	}
	if f.isAside() {
		_, right := f.asideWidths()
		return right
	}
	labels := 0.0
	for i := range f.chart.Panels {
		labels = max(labels, f.labelRoom(i))
	}
	return f.inner() - labels
}

// panelLines are title and quantity above a panel's axes.
func (f *frame) panelLines(p *Panel) (title, label []string) {
	most, width := f.most.panel, f.wordsWidth()
	return f.nameType().wrap(p.Title, width, most), f.tickType().wrap(f.yScale(p, 0, 1).label(), width, most)
}

// panelHead is the height of the words above a panel's axes.
func (f *frame) panelHead(p *Panel) float64 {
	h := 0.0
	title, label := f.panelLines(p)
	h += f.size.Text * (1.5*float64(len(title)) + 1.45*float64(len(label)))
	if items := f.rowItems(p); len(items) > 0 {
		h += f.itemsHeight(items) + f.size.Text*0.2
	}
	if len(p.Marks) > 0 && !f.marksAbove(p) {
		h += f.size.Text * 1.3
	}
	if h > 0 || f.chart.Sharing {
		h += f.size.Text * 0.4 // the topmost number stands half above the axes
	}
	return h
}

// marksAbove tells whether another panel carries the badges.
func (f *frame) marksAbove(p *Panel) bool { return f.chart.Sharing && p != &f.chart.Panels[0] }

// panelFoot is the height of the words beneath a panel's axes.
func (f *frame) panelFoot(i int) float64 {
	if f.bare(i) {
		return f.size.Text * 0.6
	}
	h := f.size.Text * 1.5
	if f.chart.Panels[i].X.Label != "" {
		h += f.size.Text * 1.35
	}
	return h + f.size.Text*0.3
}

// gutter is the width of the numbers left of a panel's axes.
func (f *frame) gutter(p *Panel, height float64) float64 {
	w := 0.0
	if len(p.Rows) > 0 {
		return f.rowGutter(p)
	}
	s := f.yScale(p, 0, height)
	for _, t := range s.ticks(f.yTicks(height)) {
		w = max(w, f.tickType().width(t.text))
	}
	return w + f.size.Text*0.5
}

func (f *frame) yTicks(height float64) int {
	n := int(height / (f.size.Text * 2))
	if n < 3 && height > f.size.Text*3.8 { // two numbers, and zero between them
		n = 3
	}
	return min(8, max(2, n))
}
