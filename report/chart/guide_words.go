package chart

import "math"

// box is a rectangle in the picture.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) meets(c box) bool { return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1 }

// guideWords finds places for the words of upright lines: beside their line, clear
// of each other and, where there is such a place, of the curves.
type guideWords struct {
	room
	obstacles [][2]float64 // points of curves, bars and upright lines, which words should not cover
	taken     []box
}

// mostRows is how many lines of words are tried from the top and from the bottom.
const mostRows = 5

// place finds room for words of a width beside an upright line; false where all is
// taken.
func (g *guideWords) place(line, width, size float64) (box, bool) {
	best, least := box{}, math.MaxInt
	for _, side := range []float64{line + 5, line - 5 - width} {
		for k := range 2 * mostRows {
			y := g.y0 + size*(0.15+1.25*float64(k))
			if k >= mostRows {
				y = g.y1 - size*(1.35+1.25*float64(k-mostRows))
			}
			b := box{side, y, side + width, y + size*1.2}
			if b.x0 < g.x0 || b.x1 > g.x1 || b.y0 < g.y0 || b.y1 > g.y1 || g.isTaken(b) {
				continue
			}
			if n := g.obstaclesIn(b); n < least {
				best, least = b, n
			}
		}
	}
	if least == math.MaxInt {
		return best, false
	}
	g.taken = append(g.taken, best)
	return best, true
}

// take takes a place if it is inside and free.
func (g *guideWords) take(b box) bool {
	if b.x0 < g.x0 || b.x1 > g.x1 || b.y0 < g.y0 || b.y1 > g.y1 || g.isTaken(b) {
		return false
	}
	g.taken = append(g.taken, b)
	return true
}

// along finds room for words of a width along a level line: at the end and on the side that
// the guide asks for, else elsewhere along it; false where all is taken.
func (g *guideWords) along(line, width, size float64, want Guide) (box, bool) {
	ends := []float64{g.x1 - 4 - width, g.x0 + 6, (g.x0 + g.x1 - width) / 2}
	if want.Left {
		ends[0], ends[1] = ends[1], ends[0]
	}
	sides := []float64{line - size*1.3, line + size*0.1}
	if want.Low {
		sides[0], sides[1] = sides[1], sides[0]
	}
	for _, y := range sides {
		for _, x := range ends {
			b := box{x, y, x + width, y + size*1.2}
			if g.take(b) {
				return b, true
			}
		}
	}
	return box{}, false
}

func (g *guideWords) isTaken(b box) bool {
	for _, t := range g.taken {
		if b.meets(t) {
			return true
		}
	}
	return false
}

// addLine adds a straight line to the obstacles, as points so close that no word fits
// between two.
func (g *guideWords) addLine(a, b [2]float64) {
	const step = 6
	const longest = 1e5 // far outside of any picture
	length := math.Hypot(b[0]-a[0], b[1]-a[1])
	if !(length < longest) {
		return
	}
	n := max(1, int(length/step))
	for i := range n + 1 {
		w := float64(i) / float64(n)
		g.obstacles = append(g.obstacles, [2]float64{a[0] + w*(b[0]-a[0]), a[1] + w*(b[1]-a[1])})
	}
}

// obstaclesIn counts the obstacles in a box or close to it.
func (g *guideWords) obstaclesIn(b box) int {
	n := 0
	for _, q := range g.obstacles {
		if q[0] > b.x0-4 && q[0] < b.x1+4 && q[1] > b.y0-6 && q[1] < b.y1+6 {
			n++
		}
	}
	return n
}

// addCurves adds the curves and bars of a panel to the obstacles.
func (f *frame) addCurves(g *guideWords, p *Panel, x, y scale) {
	for k := range p.Series {
		s := &p.Series[k]
		at := f.placed(p, k, x, y)
		for i, q := range s.Points {
			if !math.IsNaN(q.Y) && !math.IsNaN(q.Lower) && !math.IsNaN(q.Upper) {
				g.addLine([2]float64{at[i][0], max(y.at(q.Upper), y.to)}, [2]float64{at[i][0], min(y.at(q.Lower), y.from)})
			}
		}
		for _, piece := range pieces(s, at) {
			for i := range piece {
				if from := max(0, i-1); s.Joined {
					g.addLine(piece[from], piece[i])
				} else {
					g.addLine(piece[i], piece[i])
				}
			}
		}
	}
}
