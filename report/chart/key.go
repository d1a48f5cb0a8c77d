package chart

import (
	"fmt"
	"slices"
)

// The key: symbols with their meaning, in rows that fit the width.

const (
	symbolWidth = 2.3 // in text sizes, with the gap after it
	itemGap     = 1.2 // between items of a row
	itemLine    = 1.2 // from line to line of an item
)

func (f *frame) itemType() lettering { return lettering{f.size.Text * 0.9, false} }

// placedItem is an item with its words in lines that fit.
type placedItem struct {
	Item
	lines []string
	width float64
}

// itemRow is the items that stand side by side.
type itemRow struct {
	items  []placedItem
	height float64
}

// rows breaks items into rows.
func (f *frame) rows(items []Item) []itemRow {
	var rows []itemRow
	x := 0.0
	for _, it := range items {
		p := f.place(it)
		if len(rows) == 0 || x+p.width > f.inner() {
			rows = append(rows, itemRow{})
			x = 0
		}
		row := &rows[len(rows)-1]
		row.items = append(row.items, p)
		row.height = max(row.height, f.size.Text*(0.22+itemLine*float64(max(1, len(p.lines)))))
		x += p.width + f.size.Text*itemGap
	}
	return rows
}

// place breaks an item's words into lines.
func (f *frame) place(it Item) placedItem {
	symbol := symbolWidth * f.size.Text
	if it.Symbol == SymbolNone {
		symbol = 0
	}
	l, width := f.itemType(), f.inner()-symbol
	if f.most.item == 1 { // two side by side
		width = (f.inner()-f.size.Text*itemGap)/2 - symbol
	}
	p := placedItem{Item: it, lines: l.wrap(clean(it.Text), width, f.most.item), width: symbol}
	for _, s := range p.lines {
		p.width = max(p.width, symbol+l.width(s))
	}
	return p
}

func (f *frame) itemsHeight(items []Item) float64 {
	h := 0.0
	for _, r := range f.rows(items) {
		h += r.height
	}
	return h
}

func (f *frame) keyHeight() float64 {
	if f.items == 0 {
		return 0
	}
	return f.itemsHeight(f.keyItems()) + f.size.Text*0.5
}

// keyItems are the items of the key for which there is room.
func (f *frame) keyItems() []Item {
	all := f.chart.Key
	if f.items >= len(all) {
		return all
	}
	left := Item{Symbol: SymbolNone, Text: fmt.Sprintf("and %d more", len(all)-f.items+1)}
	return append(slices.Clone(all[:f.items-1]), left)
}

func (f *frame) key(y float64) {
	if f.items > 0 {
		f.drawItems(f.keyItems(), y+f.size.Text*0.5)
	}
}

// drawItems draws items in rows from the height y downwards.
func (f *frame) drawItems(items []Item, y float64) {
	for _, row := range f.rows(items) {
		x := f.pad
		for _, it := range row.items {
			f.item(it, x, y+f.size.Text*0.71)
			x += it.width + f.size.Text*itemGap
		}
		y += row.height
	}
}

// item draws one item; y is the middle of its first line.
func (f *frame) item(it placedItem, x, y float64) {
	w := f.symbol(it.Item, x, y)
	l := f.itemType()
	for i, s := range it.lines {
		f.text(x+w, y+l.size*0.35+float64(i)*f.size.Text*itemLine, s, l, f.palette.Ink, left)
	}
}

// symbol draws an item's symbol and returns the distance from its left edge to the
// item's words.
func (f *frame) symbol(it Item, x, y float64) float64 {
	t := f.size.Text
	w := t * (symbolWidth - 0.5)
	colour := f.palette.colour(it.Style)
	switch it.Symbol {
	case SymbolSeries, SymbolPoints, SymbolLine:
		if it.Symbol != SymbolPoints {
			f.line(stroke{colour, 3, dashesOf(it.Style, 3)}, [2]float64{x, y}, [2]float64{x + w, y})
		}
		if it.Symbol != SymbolLine {
			f.marker(it.Style, x+w/2, y, t*0.32)
		}
	case SymbolAhead, SymbolLevel, SymbolUnclear:
		f.verdict(Cell{Verdict: Verdict(it.Symbol - SymbolAhead), Style: it.Style}, x, y-t*0.55, x+w, y+t*0.55)
	case SymbolInterval:
		f.bar(x+w/2, y-t*0.5, y+t*0.5, stroke{colour: f.palette.Ink, width: 1.6})
	case SymbolLane:
		f.line(stroke{colour: faded(f.palette.Ink, laneVeil), width: t * laneWidth}, [2]float64{x, y}, [2]float64{x + w, y})
		f.marker(Ink, x+w/2, y, t*0.28)
	case SymbolHollow:
		f.hollow(Ink, x+w/2, y, t*0.28)
	case SymbolBadge:
		f.badge(it.Badge, x+w/2, y)
	case SymbolCross:
		f.cross(x+w/2, y, t*0.28, f.palette.Ink)
	case SymbolGuide:
		f.line(stroke{f.palette.Soft, 1.6, []vgLen{6, 4}}, [2]float64{x, y}, [2]float64{x + w, y})
	case SymbolCrossing:
		f.fill(x+w*0.2, y-t*0.55, x+w*0.8, y+t*0.55, faded(f.palette.Grid, spanVeil))
		f.line(stroke{f.palette.Soft, 1.6, []vgLen{6, 4}}, [2]float64{x + w/2, y - t*0.55}, [2]float64{x + w/2, y + t*0.55})
	case SymbolSpan:
		f.fill(x, y-t*0.5, x+w, y+t*0.5, f.palette.Grid)
	case SymbolHatch:
		f.hatch(x, y-t*0.5, x+w, y+t*0.5)
		f.line(stroke{colour: f.palette.Soft, width: 1}, [2]float64{x, y - t*0.5}, [2]float64{x + w, y - t*0.5}, [2]float64{x + w, y + t*0.5}, [2]float64{x, y + t*0.5}, [2]float64{x, y - t*0.5})
	case SymbolPlace:
		f.line(stroke{colour: f.palette.Ink, width: 2.2}, [2]float64{x + w/2, y - t*0.5}, [2]float64{x + w/2, y + t*0.5})
		f.level(x+w*0.15, x+w*0.85, y+t*0.3, barEnd*0.6, stroke{colour: f.palette.Ink, width: 2})
	case SymbolAcross:
		f.level(x+w*0.1, x+w*0.9, y, barEnd*0.75, stroke{colour: f.palette.Ink, width: 1.6})
	case SymbolRange:
		f.fill(x, y-t*0.5, x+w, y+t*0.5, faded(colour, 0x4a))
	case SymbolRing:
		f.marker(Ink, x+w/2, y, t*0.24)
		f.ring(x+w/2, y)
	case SymbolStar:
		f.star(x+w/2, y, t*0.36, f.palette.Ink)
	case SymbolNone:
		return 0
	}
	return w + t*0.5
}

func (f *frame) badgeType() lettering { return lettering{f.size.Text * 0.8, true} }

// badgeRadius is that of the disc around a text so wide.
func (f *frame) badgeRadius(width float64) float64 {
	return max(f.size.Text*0.62, width/2+f.size.Text*0.25)
}

// badge draws a short text in a disc.
func (f *frame) badge(text string, x, y float64) {
	l := f.badgeType()
	r := f.badgeRadius(l.width(text))
	path := outline(0, f.at(x, y), vgLen(r))
	f.c.SetColor(f.palette.Ink)
	f.c.Fill(path)
	f.text(x, y+l.size*0.35, text, l, f.palette.Paper, middle)
}

// bar draws an interval bar.
func (f *frame) bar(x, y0, y1 float64, s stroke) {
	f.line(s, [2]float64{x, y0}, [2]float64{x, y1})
	f.line(s, [2]float64{x - barEnd, y0}, [2]float64{x + barEnd, y0})
	f.line(s, [2]float64{x - barEnd, y1}, [2]float64{x + barEnd, y1})
}
