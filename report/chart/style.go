package chart

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// dashes of the styles, in multiples of the line's width.
var dashes = [6][]float64{nil, {4.5, 2.2}, {1.2, 1.6}, {7, 1.8, 1.2, 1.8}, {2.6, 1.4}, {9, 2.4}}

func dashesOf(style int, width float64) []vg.Length {
	pattern := dashes[form(style)]
	out := make([]vg.Length, len(pattern))
	for i, d := range pattern {
		out[i] = vg.Length(d * width)
	}
	return out
}

// outline is the marker of a style around a centre: circle, square, triangle,
// diamond, triangle upside down, cross. r is the radius of a circle of about the
// same area.
func outline(style int, at vg.Point, r vg.Length) vg.Path {
	polygon := func(corners ...[2]float64) vg.Path {
		var p vg.Path
		for i, c := range corners {
			q := vg.Point{X: at.X + vg.Length(c[0])*r, Y: at.Y + vg.Length(c[1])*r}
			if i == 0 {
				p.Move(q)
			} else {
				p.Line(q)
			}
		}
		p.Close()
		return p
	}
	switch form(style) {
	case 1:
		return polygon([2]float64{-.9, -.9}, [2]float64{.9, -.9}, [2]float64{.9, .9}, [2]float64{-.9, .9})
	case 2:
		return polygon([2]float64{0, 1.3}, [2]float64{-1.15, -.8}, [2]float64{1.15, -.8})
	case 3:
		return polygon([2]float64{0, 1.35}, [2]float64{-1.15, 0}, [2]float64{0, -1.35}, [2]float64{1.15, 0})
	case 4:
		return polygon([2]float64{0, -1.3}, [2]float64{-1.15, .8}, [2]float64{1.15, .8})
	case 5:
		const a, b = .42, 1.15
		return polygon([2]float64{-a, -b}, [2]float64{a, -b}, [2]float64{a, -a}, [2]float64{b, -a}, [2]float64{b, a}, [2]float64{a, a},
			[2]float64{a, b}, [2]float64{-a, b}, [2]float64{-a, a}, [2]float64{-b, a}, [2]float64{-b, -a}, [2]float64{-a, -a})
	}
	var p vg.Path
	p.Move(vg.Point{X: at.X + r, Y: at.Y})
	p.Arc(at, r, 0, 2*math.Pi)
	p.Close()
	return p
}
