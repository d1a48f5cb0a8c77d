package chart

import (
	"image"
	"image/png"
	"io"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// pointsPerInch is the unit of vg: a point is 1/72 inch.
const pointsPerInch = 72

// Image draws a chart in a size whose height is fixed, so many pixels wide.
func Image(c *Chart, s Size, width int, p *Palette) image.Image {
	dpi := int(math.Round(float64(width) / s.Width * pointsPerInch)) // whole for the sizes that there are
	canvas := vgimg.NewWith(vgimg.UseWH(vg.Length(s.Width), vg.Length(s.Height)), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(p.Paper))
	draw(canvas, cleaned(c), s, p)
	return canvas.Image()
}

// PNG writes Image to w.
func PNG(w io.Writer, c *Chart, s Size, width int, p *Palette) error {
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	return e.Encode(w, Image(c, s, width, p))
}
