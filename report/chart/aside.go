package chart

// The first panel and those of rows stand left, one above the other, and the others right.

const (
	asideLeft = 0.56 // of the width
	asideGap  = 1.6  // between the two columns, in text sizes
)

// isAside tells whether the chart is drawn in two columns: there is room, and something to
// stand at the right.
func (f *frame) isAside() bool {
	if !f.chart.Aside || !f.size.Labels {
		return false
	}
	left, right := f.columns()
	return len(left) > 0 && len(right) > 0
}

// columns are the panels that stand left and right.
func (f *frame) columns() (left, right []int) {
	for i := range f.chart.Panels {
		if i == 0 || len(f.chart.Panels[i].Rows) > 0 {
			left = append(left, i)
		} else {
			right = append(right, i)
		}
	}
	return left, right
}

// asideWidths are the widths of the two columns.
func (f *frame) asideWidths() (left, right float64) {
	left = f.inner() * asideLeft
	return left, f.inner() - left - f.size.Text*asideGap
}

// bare tells whether the x axis of a panel has neither numbers nor words, because a panel
// beneath it has them.
func (f *frame) bare(i int) bool {
	if !f.isAside() {
		return f.chart.Sharing && i < len(f.chart.Panels)-1
	}
	left, right := f.columns()
	return i != left[len(left)-1] && i != right[len(right)-1]
}

// aside draws the panels in two columns.
func (f *frame) aside(top, bottom float64) {
	left, right := f.columns()
	leftWidth, rightWidth := f.asideWidths()
	f.column(left, f.pad, leftWidth, top, bottom)
	f.column(right, f.pad+leftWidth+f.size.Text*asideGap, rightWidth, top, bottom)
}

// column draws panels one above the other: those of rows take what they need, the others
// share what is left.
func (f *frame) column(panels []int, x, width, top, bottom float64) {
	free, others, gutter, labels := bottom-top, 0, 0.0, 0.0
	for _, i := range panels {
		p := &f.chart.Panels[i]
		free -= f.panelHead(p) + f.panelFoot(i)
		if len(p.Rows) > 0 {
			free -= f.rowsHeight(p, leastRow)
		} else {
			others++
		}
		labels = max(labels, f.labelRoom(i))
	}
	each := free / float64(max(1, others))
	for _, i := range panels {
		gutter = max(gutter, f.gutter(&f.chart.Panels[i], each))
	}
	y := top
	for _, i := range panels {
		p := &f.chart.Panels[i]
		height := each
		if len(p.Rows) > 0 {
			height = f.rowsHeight(p, leastRow)
		}
		y += f.panelHead(p)
		f.panel(i, room{x + gutter, y, x + width - labels, y + height, x})
		y += height + f.panelFoot(i)
	}
}
