package chart

import "gonum.org/v1/plot/vg"

// The strip of verdicts: a cell for each band, with the marker of the side that
// is ahead, two bars for level, a question mark where it cannot be told.

// verdict draws one cell.
func (f *frame) verdict(c Cell, x0, y0, x1, y1 float64) {
	x, y := (x0+x1)/2, (y0+y1)/2
	r := min((y1-y0)*0.3, (x1-x0)*0.42)
	switch c.Verdict {
	case Ahead:
		f.fill(x0, y0, x1, y1, faded(f.palette.colour(c.Style), 0x4a))
		f.marker(c.Style, x, y, r)
	case Level:
		f.fill(x0, y0, x1, y1, f.palette.Grid)
		for _, dy := range []float64{-0.5, 0.5} {
			f.line(stroke{colour: f.palette.Ink, width: 2}, [2]float64{x - r, y + dy*r}, [2]float64{x + r, y + dy*r})
		}
	case NotKept:
		f.hatch(x0, y0, x1, y1)
	case Unclear:
		l := lettering{f.size.Text, true}
		if l.width("?") < x1-x0 {
			f.text(x, y+l.size*0.35, "?", l, f.palette.Soft, middle)
		}
	}
	edge := stroke{colour: f.palette.Soft, width: 1}
	if c.Verdict == Unclear {
		edge.dashes = []vg.Length{2, 2}
	}
	f.line(edge, [2]float64{x0, y0}, [2]float64{x1, y0}, [2]float64{x1, y1}, [2]float64{x0, y1}, [2]float64{x0, y0})
}

func (f *frame) stripHeight(p *Panel) float64 {
	if len(p.Strip) == 0 {
		return 0
	}
	return f.size.Text * 1.35
}

func (f *frame) strip(p *Panel, x scale, r room) {
	for _, c := range p.Strip {
		x0, x1 := max(x.at(c.From), r.x0), min(x.at(c.To), r.x1)
		if !(x0 < x1) {
			continue
		}
		f.verdict(c, x0+0.5, r.y1-f.stripHeight(p), x1-0.5, r.y1)
	}
}
