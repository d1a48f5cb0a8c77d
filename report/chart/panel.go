package chart

import (
	"cmp"
	"math"
	"slices"
)

// room is where the axes of a panel stand.
type room struct {
	x0, y0, x1, y1 float64
	left           float64 // where words begin
}

// panel draws one panel.
func (f *frame) panel(i int, r room) {
	p := &f.chart.Panels[i]
	x := f.xScale(p, r.x0, r.x1)
	y := f.yScale(p, r.y0, r.y1-f.beneath(p))
	f.panelWords(p, r)
	if len(p.Rows) > 0 {
		f.spans(p, x, r)
		f.rowsOf(p, x, r)
		f.xFoot(x, r, f.bare(i))
		return
	}
	f.spans(p, x, r)
	f.grid(x, y, r, f.bare(i))
	f.strip(p, x, r)
	f.lanes(p, x, r)
	words := guideWords{room: room{r.x0, r.y0, r.x1, r.y1 - f.beneath(p), r.left}}
	f.addCurves(&words, p, x, y)
	f.spanWords(&words, p, x)
	f.guides(&words, p, x, y, r)
	f.marks(p, x, r)
	for k := range p.Series {
		f.series(p, k, x, y, r)
	}
	f.pointWords(&words, p, x, y)
	if f.atEnds && !f.isAside() {
		f.names(i, x, y, r)
	}
}

// beneath is the height of what stands between the curves and the x axis.
func (f *frame) beneath(p *Panel) float64 {
	h := f.stripHeight(p) + f.lanesHeight(p)
	if h > 0 {
		h += f.size.Text * 0.35
	}
	return h
}

// panelWords writes title and quantity above the axes.
func (f *frame) panelWords(p *Panel, r room) {
	x := r.left
	y := r.y0 - f.panelHead(p)
	title, label := f.panelLines(p)
	y = f.writeLines(title, x, y, f.nameType(), 1.05, f.size.Text*1.5, f.palette.Ink)
	y = f.writeLines(label, x, y, f.tickType(), 0.95, f.size.Text*1.45, f.palette.Soft)
	if items := f.rowItems(p); len(items) > 0 {
		f.drawItems(items, y)
	}
}

// xScale is the scale of the x axis: all panels that share it share its ends.
func (f *frame) xScale(p *Panel, from, to float64) scale {
	panels := []Panel{*p}
	if f.chart.Sharing || f.chart.Aside {
		panels = f.chart.Panels
	}
	r := nowhere
	for i := range panels {
		own := panels[i].ReachX()
		r.widen(own.From, own.To)
		r.widen(panels[i].X.Also...)
	}
	s := scale{axis: &p.X, from: from, to: to}
	s.min, s.max = p.X.fit(r.From, r.To)
	return s
}

// yScale is the scale of the y axis between two heights, top first.
func (f *frame) yScale(p *Panel, top, bottom float64) scale {
	r := p.ReachY()
	r.widen(p.Y.Also...)
	s := scale{axis: &p.Y, from: bottom, to: top}
	s.min, s.max = p.Y.fit(r.From, r.To)
	return s
}

// grid draws the axes with their numbers.
func (f *frame) grid(x, y scale, r room, bare bool) {
	l := f.tickType()
	below := math.Inf(1) // the top of the number beneath
	for _, t := range y.ticks(f.yTicks(r.y1 - r.y0)) {
		h := y.at(t.at)
		f.line(stroke{colour: f.palette.Grid, width: 1}, [2]float64{r.x0, h}, [2]float64{r.x1, h})
		if base := h + l.size*0.35; base+l.size*textBelow < below {
			f.text(r.x0-f.size.Text*0.4, base, t.text, l, f.palette.Soft, right)
			below = base - l.size*textAbove
		}
	}
	f.line(stroke{colour: f.palette.Soft, width: 1.2}, [2]float64{r.x0, r.y1}, [2]float64{r.x1, r.y1})
	f.xFoot(x, r, bare)
}

// xFoot draws the numbers and the words beneath the x axis.
func (f *frame) xFoot(x scale, r room, bare bool) {
	l := f.tickType()
	f.xTicks(x, r, bare)
	if x.axis.Label != "" && !bare {
		f.text((r.x0+r.x1)/2, r.y1+f.size.Text*2.75, l.cut(x.label(), r.x1-r.x0+f.size.Text*2), l, f.palette.Soft, middle)
	}
}

func (f *frame) xTicks(x scale, r room, bare bool) {
	l := f.tickType()
	slot := math.Inf(1)
	if len(x.axis.Names) > 0 {
		slot = (r.x1-r.x0)/float64(len(x.axis.Names)) - f.size.Text*0.4
	}
	last := math.Inf(-1)
	for _, t := range f.xNumbers(x, r.x1-r.x0) {
		at := x.at(t.at)
		f.line(stroke{colour: f.palette.Soft, width: 1.2}, [2]float64{at, r.y1}, [2]float64{at, r.y1 + 5})
		text := l.short(clean(t.text), slot)
		w := l.width(text)
		from := min(max(at-w/2, 2), f.size.Width-2-w)
		if bare || from < last {
			continue
		}
		f.text(from, r.y1+f.size.Text*1.35, text, l, f.palette.Soft, left)
		last = from + w + f.size.Text*0.5
	}
}

// xNumbers are as many ticks of an x axis of a width as have room for their
// numbers, but not more than can be taken in.
func (f *frame) xNumbers(x scale, width float64) []tick {
	const most = 15
	if x.axis.Clock != nil {
		return x.ticks(int(width / (f.size.Text * 4)))
	}
	l := f.tickType()
	for n := most; n > 1; n-- {
		list := x.ticks(n)
		last, fits := math.Inf(-1), true
		for _, t := range list {
			half := l.width(t.text) / 2
			fits = fits && x.at(t.at)-half >= last
			last = x.at(t.at) + half + f.size.Text*0.9
		}
		if fits {
			return list
		}
	}
	return x.ticks(1)
}

const spanVeil = 0xb0

// spans shades stretches of the x axis.
func (f *frame) spans(p *Panel, x scale, r room) {
	for _, s := range p.Spans {
		x0, x1 := max(x.at(s.From), r.x0), min(x.at(s.To), r.x1)
		if !(x0 < x1) {
			continue
		}
		f.fill(x0, r.y0, x1, r.y1-f.beneath(p), faded(f.palette.Grid, spanVeil))
	}
}

// spanWords writes the words of shaded stretches at their tops.
func (f *frame) spanWords(words *guideWords, p *Panel, x scale) {
	l := f.tickType()
	for _, s := range p.Spans {
		x0, x1 := max(x.at(s.From), words.x0), min(x.at(s.To), words.x1)
		w := l.width(s.Text)
		at := (x0 + x1 - w) / 2
		if w < x1-x0-4 && words.take(box{at, words.y0 + l.size*0.1, at + w, words.y0 + l.size*1.3}) {
			f.text(at, words.y0+l.size*1.1, s.Text, l, f.palette.Soft, left)
		}
	}
}

// guides draws straight lines with their words.
func (f *frame) guides(words *guideWords, p *Panel, x, y scale, r room) {
	l := f.tickType()
	for _, g := range p.Guides {
		s := stroke{colour: f.palette.Soft, width: 1.6, dashes: []vgLen{6, 4}}
		ink := f.palette.Soft
		if g.Style > 0 {
			s.colour = f.palette.colour(g.Style - 1)
			s.dashes = []vgLen{2, 3}
		}
		if g.Thick {
			s = stroke{colour: f.palette.Ink, width: 1.8}
			ink = f.palette.Ink
		}
		g.Text = l.short(g.Text, r.x1-r.x0-12)
		switch {
		case g.Y != nil:
			h := y.at(*g.Y)
			f.line(s, [2]float64{r.x0, h}, [2]float64{r.x1, h})
			if b, ok := words.along(h, l.width(g.Text), l.size, g); ok {
				f.halo(b.x0, b.y0+l.size*0.95, g.Text, l, ink, left)
			}
		case g.X != nil:
			w := x.at(*g.X)
			f.line(s, [2]float64{w, r.y0}, [2]float64{w, words.y1})
			words.addLine([2]float64{w, r.y0}, [2]float64{w, words.y1})
		default:
			f.diagonal(words, g, x, y, s, l)
		}
	}
	for _, g := range p.Guides {
		if g.X == nil {
			continue
		}
		if b, ok := words.place(x.at(*g.X), l.width(g.Text), l.size); ok {
			f.halo(b.x0, b.y0+l.size*0.95, g.Text, l, f.palette.Soft, left)
		}
	}
}

// diagonal draws the line on which both axes are equal.
func (f *frame) diagonal(words *guideWords, g Guide, x, y scale, s stroke, l lettering) {
	low, high := max(x.min, y.min), min(x.max, y.max)
	if !(low < high) {
		return
	}
	f.line(s, [2]float64{x.at(low), y.at(low)}, [2]float64{x.at(high), y.at(high)})
	end := low + 0.88*(high-low)
	right, base := x.at(end)-f.size.Text*0.6, y.at(end)-l.size*0.2
	if words.take(box{right - l.width(g.Text), base - l.size*0.95, right, base + l.size*0.25}) {
		f.halo(right-l.width(g.Text), base, g.Text, l, f.palette.Soft, left)
	}
}

// marks draws upright lines with their badges on top; badges that would cover each other
// stand side by side.
func (f *frame) marks(p *Panel, x scale, r room) {
	l := f.badgeType()
	type badge struct {
		text string
		x, r float64
	}
	var list []badge
	for _, m := range p.Marks {
		at := x.at(m.X)
		if at < r.x0 || at > r.x1 {
			continue
		}
		f.line(stroke{colour: f.palette.Ink, width: 1.6, dashes: []vgLen{3, 3}}, [2]float64{at, r.y0 - f.size.Text*0.1}, [2]float64{at, r.y1})
		list = append(list, badge{text: m.Badge, x: at, r: f.badgeRadius(l.width(m.Badge))})
	}
	if f.marksAbove(p) {
		return
	}
	slices.SortStableFunc(list, func(a, b badge) int { return cmp.Compare(a.x, b.x) })
	last := r.left
	for i := range list {
		list[i].x = max(list[i].x, last+list[i].r)
		last = list[i].x + list[i].r + 1
	}
	last = r.x1 + f.size.Text*0.6
	for i := len(list) - 1; i >= 0; i-- {
		list[i].x = min(list[i].x, last-list[i].r)
		last = list[i].x - list[i].r - 1
	}
	for _, b := range list {
		f.badge(b.text, b.x, r.y0-f.size.Text*0.75) // above the value at the top of the axis
	}
}
