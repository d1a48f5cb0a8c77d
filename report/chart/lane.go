package chart

// The lanes: a bar for each curve that has a best stretch, one above the other,
// with the curve's marker where it is best.

const (
	laneHeight = 0.95 // in text sizes
	laneWidth  = 0.5  // of the bar, in text sizes
	laneVeil   = 0x70
)

func (f *frame) lanesHeight(p *Panel) float64 {
	return float64(len(p.Lanes)) * f.size.Text * laneHeight
}

func (f *frame) lanes(p *Panel, x scale, r room) {
	y := r.y1 - f.stripHeight(p) - f.lanesHeight(p)
	for _, l := range p.Lanes {
		y += f.size.Text * laneHeight / 2
		// A stretch of one setting is as wide as its marker.
		half := f.size.Text * 0.3
		f.line(stroke{colour: faded(f.palette.colour(l.Style), laneVeil), width: f.size.Text * laneWidth},
			[2]float64{max(x.at(l.From)-half, r.x0), y}, [2]float64{min(x.at(l.To)+half, r.x1), y})
		f.marker(l.Style, x.at(l.At), y, f.size.Text*0.28)
		y += f.size.Text * laneHeight / 2
	}
}
