package chart

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Names of curves at their ends, moved apart where they would touch.

const (
	nameWidth       = 0.24 // of the picture's width, which names may take at most
	nameWidthBeside = 0.18 // the same right of one of several panels side by side
	nameGap         = 1.4  // from the axes to a name, in text sizes
	nameApart       = 0.25 // between names, in text sizes
)

// labelRoom is the width that the names of a panel's curves take.
func (f *frame) labelRoom(i int) float64 {
	if !f.atEnds || f.isAside() {
		return f.size.Text * 0.4
	}
	w := 0.0
	if note := f.noteRoom(&f.chart.Panels[i]); note > 0 {
		return note
	}
	for _, s := range f.chart.Panels[i].Series {
		if !f.namedLater(i, s.Name) {
			for _, line := range f.nameLines(s.Name) {
				w = max(w, f.nameType().width(line))
			}
		}
	}
	if w == 0 {
		return f.size.Text * 0.6
	}
	return w + f.size.Text*(nameGap+1.2)
}

// namedLater tells whether a curve's name stands at a panel to the right instead,
// where it is drawn again.
func (f *frame) namedLater(i int, name string) bool {
	if !f.isBeside() {
		return false
	}
	for _, p := range f.chart.Panels[i+1:] {
		if slices.ContainsFunc(p.Series, func(s Series) bool { return s.Name == name }) {
			return true
		}
	}
	return false
}

// nameLines are a curve's name in lines that fit. A name that is too long keeps
// its beginning.
func (f *frame) nameLines(name string) []string {
	part := nameWidth
	if f.isBeside() {
		part = nameWidthBeside
	}
	l, width := f.nameType(), f.size.Width*part-f.size.Text*(nameGap+1.2)
	names, most := f.curveNames()
	if lines := l.lines(clean(name), width); len(lines) <= most {
		return lines
	}
	r := []rune(clean(name))
	for keep := len(r) - 1; keep > 1; keep-- {
		if lines := l.lines(shortName(r, names, keep), width); len(lines) <= most {
			return lines
		}
	}
	return l.wrap(string(r), width, most)
}

// curveNames are all names of the chart, and how many lines each may take.
func (f *frame) curveNames() (names []string, most int) {
	n := 0
	for i := range f.chart.Panels {
		own := 0
		for _, s := range f.chart.Panels[i].Series {
			if s.Name != "" {
				names = append(names, clean(s.Name))
				own++
			}
		}
		n = max(n, own)
	}
	if f.chart.Sharing {
		n = max(n, len(f.chart.Panels))
	}
	switch {
	case n <= 2:
		return names, 4
	case n <= 4:
		return names, 3
	}
	return names, 2
}

// shortName shortens a name to so many letters: it keeps its beginning. Where another of the
// chart's names begins the same, it keeps its end, too, with one cut between them.
func shortName(r []rune, names []string, keep int) string {
	begins := strings.TrimRight(string(r[:min(len(r), keep-1)]), " ,")
	for _, name := range names {
		if name != string(r) && strings.HasPrefix(name, begins) {
			return leaveOut(r, keep)
		}
	}
	return begins + "…"
}

type nameTag struct {
	style  int
	lines  []string
	end    [2]float64 // of the curve
	y      float64    // middle of the name
	height float64
	joined bool // to the end of its curve by a thin line
}

// names writes each curve's name beside its last point.
// The name of points that no line joins stands at their middle.
func (f *frame) names(i int, x, y scale, r room) {
	p := &f.chart.Panels[i]
	var tags []nameTag
	for k, s := range p.Series {
		if s.Name == "" || f.namedLater(i, s.Name) {
			continue
		}
		lines := f.nameLines(s.Name)
		height := float64(len(lines)) * f.size.Text * 1.2
		if !s.Joined {
			tags = append(tags, nameTag{style: s.Style, lines: lines, end: [2]float64{r.x1, (r.y0 + r.y1) / 2}, y: (r.y0 + r.y1) / 2, height: height})
			continue
		}
		at := f.placed(p, k, x, y)
		for end := len(at) - 1; end >= 0; end-- {
			if math.IsNaN(s.Points[end].Y) {
				continue
			}
			// A thin line from a single point would look like its curve.
			joined := slices.ContainsFunc(s.Points[:end], func(q Point) bool { return !math.IsNaN(q.Y) })
			tags = append(tags, nameTag{s.Style, lines, at[end], at[end][1], height, joined})
			break
		}
	}
	top, bottom := r.y0, r.y1
	if f.chart.Sharing { // beside the words around the axes
		top, bottom = r.y0-f.panelHead(p), r.y1+f.size.Text*0.6
	}
	spread(tags, top, bottom, f.size.Text*nameApart)
	for _, t := range tags {
		f.nameTag(t, r)
	}
}

func (f *frame) nameTag(t nameTag, r room) {
	x := r.x1 + f.size.Text*nameGap
	colour := f.palette.colour(t.style)
	if t.joined {
		thin := stroke{colour: colour, width: 1.2}
		if r.x1-t.end[0] > f.size.Text*2.5 { // so long that it would look like more of the curve
			thin = stroke{colour: f.palette.Soft, width: 1, dashes: []vgLen{1, 3}}
		}
		f.line(thin, [2]float64{t.end[0] + f.size.Text*0.5, t.end[1]}, [2]float64{x - f.size.Text*0.3, t.y})
	}
	f.marker(t.style, x+f.size.Text*0.35, t.y, f.size.Text*0.34)
	f.writeLines(t.lines, x+f.size.Text*1.05, t.y-t.height/2+f.size.Text*0.95, f.nameType(), 0, f.size.Text*1.2, f.palette.Ink)
}

// spread moves tags apart, in the order of their curves' ends, inside the room.
func spread(tags []nameTag, top, bottom, gap float64) {
	slices.SortStableFunc(tags, func(a, b nameTag) int {
		return cmp.Compare(a.end[1], b.end[1])
	})
	// Down until none touches, then back up from the bottom.
	floor := top
	for i := range tags {
		t := &tags[i]
		t.y = max(t.y, floor+t.height/2)
		floor = t.y + t.height/2 + gap
	}
	ceiling := bottom
	for i := len(tags) - 1; i >= 0; i-- {
		t := &tags[i]
		t.y = min(t.y, ceiling-t.height/2)
		ceiling = t.y - t.height/2 - gap
	}
}
