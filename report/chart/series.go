package chart

import (
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

type vgLen = vg.Length

// apart is how far curves are moved sideways so that their bars do not cover
// each other.
const apart = 2.6

// barEnd is half the width of an interval bar's ends: they stand out beside the
// marker, so that an interval smaller than the marker shows too.
const barEnd = 7.5

// curveWidth is the width of a curve's line.
const curveWidth = 2.8

// placed are the points of a series in the picture.
func (f *frame) placed(p *Panel, k int, x, y scale) [][2]float64 {
	s := &p.Series[k]
	shift := 0.0
	if n := len(p.Series); n > 1 && s.Name != "" && !s.Bare && !s.Small {
		shift = (float64(k) - float64(n-1)/2) * apart
	}
	out := make([][2]float64, len(s.Points))
	for i, q := range s.Points {
		out[i] = [2]float64{x.at(q.X) + shift, y.at(q.Y)}
	}
	return out
}

// series draws one curve: line, bars, markers.
func (f *frame) series(p *Panel, k int, x, y scale, r room) {
	s := &p.Series[k]
	at := f.placed(p, k, x, y)
	colour := f.palette.colour(s.Style)
	for _, piece := range pieces(s, at) {
		switch {
		case s.Fine:
			f.line(stroke{colour: colour, width: 1.4}, piece...)
		case s.Joined:
			f.line(stroke{colour, curveWidth, dashesOf(s.Style, curveWidth)}, piece...)
		}
	}
	for i, q := range s.Points {
		if !math.IsNaN(q.Y) && !math.IsNaN(q.Lower) && !math.IsNaN(q.Upper) {
			f.clippedBar(at[i][0], y.at(q.Lower), y.at(q.Upper), y, stroke{colour: colour, width: 1.8})
		}
	}
	f.across(s, at, x)
	for i, q := range s.Points {
		switch {
		case math.IsNaN(q.Y) || s.Bare || at[i][1] < r.y0-1 || at[i][1] > r.y1+1:
		case s.Crossed:
			f.cross(at[i][0], at[i][1], f.size.Text*0.28, f.palette.Ink)
		case s.Ringed:
			f.ring(at[i][0], at[i][1])
		case s.Starred:
			f.star(at[i][0], at[i][1], f.size.Text*0.36, colour)
		case slices.Contains(s.NotKept, q.X):
			f.hollow(s.Style, at[i][0], at[i][1], f.size.Text*0.27)
		case s.Small:
			f.marker(s.Style, at[i][0], at[i][1], f.size.Text*0.22)
		default:
			f.marker(s.Style, at[i][0], at[i][1], f.markerRadius(y.at(q.Lower)-y.at(q.Upper)))
		}
	}
}

// markerRadius is that of a marker whose interval is so high in the picture: the marker
// leaves to be seen an interval that it would hide.
func (f *frame) markerRadius(interval float64) float64 {
	if usual := f.size.Text * 0.28; !(interval < 2.4*usual) {
		return usual
	}
	return f.size.Text * 0.23
}

// ring draws a ring that leaves a marker to be seen.
func (f *frame) ring(x, y float64) {
	f.stroke(stroke{colour: f.palette.Ink, width: 2}, outline(0, f.at(x, y), vgLen(f.size.Text*0.58)))
}

// star draws a star of three lines.
func (f *frame) star(x, y, r float64, c color.Color) {
	for k := range 3 {
		sin, cos := math.Sincos(math.Pi/2 + float64(k)*math.Pi/3)
		f.line(stroke{colour: c, width: 2.4}, [2]float64{x - r*cos, y - r*sin}, [2]float64{x + r*cos, y + r*sin})
	}
}

// clippedBar draws an interval bar; an end beyond the axis becomes an arrow.
func (f *frame) clippedBar(x, lower, upper float64, y scale, s stroke) {
	low, high := min(lower, y.from), max(upper, y.to)
	f.line(s, [2]float64{x, low}, [2]float64{x, high})
	for _, end := range []struct{ at, want, up float64 }{{low, lower, -1}, {high, upper, 1}} {
		if end.at == end.want {
			f.line(s, [2]float64{x - barEnd, end.at}, [2]float64{x + barEnd, end.at})
		} else {
			f.line(s, [2]float64{x - barEnd, end.at + end.up*barEnd*1.5}, [2]float64{x, end.at}, [2]float64{x + barEnd, end.at + end.up*barEnd*1.5})
		}
	}
}

// pieces are the unbroken stretches of a curve.
func pieces(s *Series, at [][2]float64) [][][2]float64 {
	var out [][][2]float64
	var piece [][2]float64
	for i, q := range s.Points {
		if math.IsNaN(q.Y) {
			if piece != nil {
				out, piece = append(out, piece), nil
			}
			continue
		}
		if s.Steps && len(piece) > 0 {
			piece = append(piece, [2]float64{at[i][0], piece[len(piece)-1][1]})
		}
		piece = append(piece, at[i])
	}
	if piece != nil {
		out = append(out, piece)
	}
	return out
}
