package chart

import "math"

// pointWords writes the words of a panel's points beside them, where they cover neither
// each other nor a curve.
func (f *frame) pointWords(words *guideWords, p *Panel, x, y scale) {
	l := lettering{f.size.Text * 0.86, false}
	for k := range p.Series {
		s := &p.Series[k]
		if len(s.Words) == 0 {
			continue
		}
		for i, at := range f.placed(p, k, x, y) {
			if text := clean(s.Words[i]); text != "" && !math.IsNaN(at[1]) {
				if b, ok := words.beside(at, l.width(text), l.size); ok {
					f.text(b.x0, b.y0+l.size*0.9, text, l, f.palette.Ink, left)
				}
			}
		}
	}
}

// beside finds room for words beside a point: above, beneath, right or left of it.
func (g *guideWords) beside(at [2]float64, width, size float64) (box, bool) {
	const away = 9
	best, least := box{}, math.MaxInt
	for _, corner := range [][2]float64{
		{at[0] + away, at[1] + away*0.2}, {at[0] + away, at[1] - size - away*0.6}, {at[0] - width/2, at[1] - size - away}, {at[0] - width/2, at[1] + away*0.8},
		{at[0] - width - away, at[1] - size*0.55}, {at[0] + away, at[1] - size*0.55}, {at[0] - width - away, at[1] - size - away*0.4},
	} {
		b := box{corner[0], corner[1], corner[0] + width, corner[1] + size*1.1}
		if b.x0 < g.x0 || b.x1 > g.x1 || b.y0 < g.y0 || b.y1 > g.y1 || g.isTaken(b) {
			continue
		}
		if n := g.obstaclesIn(b); n < least {
			best, least = b, n
		}
	}
	if least == math.MaxInt || least > 1 {
		return best, false
	}
	g.taken = append(g.taken, best)
	return best, true
}

// across draws the intervals of the points' x.
func (f *frame) across(s *Series, at [][2]float64, x scale) {
	for i, a := range s.Across {
		if a.From < a.To && !math.IsNaN(at[i][1]) {
			f.level(x.at(a.From), x.at(a.To), at[i][1], barEnd*0.75, stroke{colour: f.palette.colour(s.Style), width: 1.8})
		}
	}
}
