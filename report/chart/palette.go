package chart

import (
	"image/color"
	"slices"
)

// Palette is the colours of the charts. Those of the styles of curves differ from
// each other also for readers who see fewer colours, and stand out from the paper
// (TestPalette holds both).
type Palette struct {
	Name   string
	Paper  color.NRGBA // background
	Ink    color.NRGBA // text, axes
	Soft   color.NRGBA // secondary text
	Grid   color.NRGBA // grid lines and shading
	Styles [6]color.NRGBA
	// Quantities are the colours of what is measured of one device, such as temperatures.
	Quantities [4]color.NRGBA
}

// Light and Dark are the two palettes.
var (
	Light = Palette{
		Name:  "light",
		Paper: rgb(0xfbfaf6), Ink: rgb(0x1b2028), Soft: rgb(0x565d68), Grid: rgb(0xe1ded4),
		Styles:     [6]color.NRGBA{rgb(0x3842c8), rgb(0xe9631b), rgb(0x389a95), rgb(0x550831), rgb(0x6f4a1a), rgb(0x321182)},
		Quantities: [4]color.NRGBA{rgb(0x9e0439), rgb(0x8a8400), rgb(0xe215aa), rgb(0x0087ff)},
	}
	Dark = Palette{
		Name:  "dark",
		Paper: rgb(0x13171d), Ink: rgb(0xf0ede6), Soft: rgb(0xaeb4bd), Grid: rgb(0x313842),
		Styles:     [6]color.NRGBA{rgb(0x87b2fe), rgb(0xe09d70), rgb(0xa8f5e2), rgb(0xc93787), rgb(0xfde33e), rgb(0x995dde)},
		Quantities: [4]color.NRGBA{rgb(0xf95657), rgb(0x79e930), rgb(0xff91ff), rgb(0x297cbf)},
	}
)

func rgb(v uint32) color.NRGBA {
	return color.NRGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 0xff}
}

// Ink is the style of what belongs to no curve: the colour of text, circles, an
// unbroken line.
const Ink = -1

// Quantity is the style of the i-th quantity of one device, i from 0: in colours that no
// device has.
func Quantity(i int) int { return Ink - 1 - i%len(Light.Quantities) }

// Styles is how many styles of things that are compared differ in marker, dashes or colour.
const Styles = 36

// colour is the colour of a style. Behind the last colour the first comes again.
func (p *Palette) colour(style int) color.NRGBA {
	switch {
	case style < Ink:
		return p.Quantities[(Ink-1-style)%len(p.Quantities)]
	case style == Ink:
		return p.Ink
	}
	return p.Styles[style%len(p.Styles)]
}

// form is the number of a style's marker and dashes: where a colour comes again, it has
// others.
func form(style int) int {
	switch {
	case style < Ink:
		return (Ink - 1 - style) % len(dashes)
	case style == Ink:
		return 0
	}
	return (style + style/len(dashes)) % len(dashes)
}

// veil is a colour that lets through what lies beneath. The library's SVG divides the
// parts of a colour by its alpha and rounds down, which would change the colour: so
// each part is rounded up here.
type veil struct{ color.NRGBA }

// RGBA gives the colour with alpha multiplied in.
func (v veil) RGBA() (r, g, b, a uint32) {
	a = uint32(v.A) * 0x101
	up := func(part uint8) uint32 { return min(uint32(part)*a/0xff+1, a) }
	return up(v.R), up(v.G), up(v.B), a
}

func faded(c color.NRGBA, alpha uint8) veil {
	c.A = alpha
	return veil{c}
}

// Names are the CSS names of the palette's colours, in the order of Colours: look1 is that
// of the first style of curves.
var Names = []string{"paper", "ink", "soft", "grid", "look1", "look2", "look3", "look4", "look5", "look6", "quantity1", "quantity2", "quantity3", "quantity4"}

// Colours are the palette's colours in the order of Names.
func (p *Palette) Colours() []color.NRGBA {
	return slices.Concat([]color.NRGBA{p.Paper, p.Ink, p.Soft, p.Grid}, p.Styles[:], p.Quantities[:])
}
