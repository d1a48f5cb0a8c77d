package chart

// The key: symbols with their meaning, in rows that fit the width.

const symbolWidth = 2.3 // in text sizes

func (f *frame) itemType() lettering { return lettering{f.size.Text * 0.9, false} }

// rows breaks items into rows.
func (f *frame) rows(items []Item) [][]Item {
	var rows [][]Item
	x := 0.0
	for _, it := range items {
		w := min(f.itemWidth(it), f.inner())
		if len(rows) == 0 || x+w > f.inner() {
			rows = append(rows, nil)
			x = 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], it)
		x += w + f.size.Text*1.2
	}
	return rows
}

func (f *frame) itemWidth(it Item) float64 {
	w := f.itemType().width(clean(it.Text))
	if it.Symbol != SymbolNone {
		w += symbolWidth * f.size.Text
	}
	return w
}

func (f *frame) rowHeight() float64 { return f.size.Text * 1.42 }

func (f *frame) itemsHeight(items []Item) float64 {
	return float64(len(f.rows(items))) * f.rowHeight()
}

func (f *frame) keyHeight() float64 {
	if len(f.chart.Key) == 0 {
		return 0
	}
	return f.itemsHeight(f.chart.Key) + f.size.Text*0.5
}

func (f *frame) key(y float64) {
	if len(f.chart.Key) > 0 {
		f.items(f.chart.Key, y+f.size.Text*0.5)
	}
}

// items draws items in rows from the height y downwards.
func (f *frame) items(items []Item, y float64) {
	for _, row := range f.rows(items) {
		x := f.pad
		for _, it := range row {
			f.item(it, x, y+f.rowHeight()/2)
			x += f.itemWidth(it) + f.size.Text*1.2
		}
		y += f.rowHeight()
	}
}

// item draws one item; y is its middle.
func (f *frame) item(it Item, x, y float64) {
	t := f.size.Text
	w := t * (symbolWidth - 0.5)
	colour := f.palette.look(it.Look)
	switch it.Symbol {
	case SymbolSeries:
		f.line(stroke{colour, 3, dashesOf(it.Look, 3)}, [2]float64{x, y}, [2]float64{x + w, y})
		f.marker(it.Look, x+w/2, y, t*0.32)
	case SymbolAhead, SymbolLevel, SymbolUnclear:
		f.verdict(Cell{Verdict: Verdict(it.Symbol - SymbolAhead), Look: it.Look}, x, y-t*0.55, x+w, y+t*0.55)
	case SymbolInterval:
		f.bar(x+w/2, y-t*0.5, y+t*0.5, stroke{colour: f.palette.Ink, width: 1.6})
	case SymbolHeavy:
		f.line(stroke{colour: faded(f.palette.Ink, 0x60), width: 7}, [2]float64{x, y}, [2]float64{x + w, y})
	case SymbolBadge:
		f.badge(it.Badge, x+w/2, y)
	case SymbolCross:
		f.cross(x+w/2, y, t*0.28, f.palette.Ink)
	case SymbolGuide:
		f.line(stroke{f.palette.Soft, 1.6, []vgLen{6, 4}}, [2]float64{x, y}, [2]float64{x + w, y})
	case SymbolSpan:
		f.fill(x, y-t*0.5, x+w, y+t*0.5, f.palette.Grid)
	case SymbolNone:
		w = -t * 0.5
	}
	l := f.itemType()
	text := l.cut(clean(it.Text), f.size.Width-f.pad-x-w-t*0.5)
	f.text(x+w+t*0.5, y+l.size*0.35, text, l, f.palette.Ink, left)
}

// badge draws a short text in a disc.
func (f *frame) badge(text string, x, y float64) {
	l := lettering{f.size.Text * 0.8, true}
	r := max(f.size.Text*0.62, l.width(text)/2+f.size.Text*0.25)
	path := outline(0, f.at(x, y), vgLength(r))
	f.c.SetColor(f.palette.Ink)
	f.c.Fill(path)
	f.text(x, y+l.size*0.35, text, l, f.palette.Paper, middle)
}

// bar draws an interval bar.
func (f *frame) bar(x, y0, y1 float64, s stroke) {
	const cap = 4
	f.line(s, [2]float64{x, y0}, [2]float64{x, y1})
	f.line(s, [2]float64{x - cap, y0}, [2]float64{x + cap, y0})
	f.line(s, [2]float64{x - cap, y1}, [2]float64{x + cap, y1})
}
