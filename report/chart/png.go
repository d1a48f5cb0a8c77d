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

// Image draws a chart in its wide form, so many pixels wide.
func Image(c *Chart, width int, p *Palette) image.Image {
	dpi := int(math.Round(float64(width) / Wide.Width * pointsPerInch))
	canvas := vgimg.NewWith(vgimg.UseWH(vg.Length(Wide.Width), vg.Length(Wide.Height)), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(p.Paper))
	draw(canvas, cleaned(c), Wide, p)
	return canvas.Image()
}

// PNG writes Image to w.
func PNG(w io.Writer, c *Chart, width int, p *Palette) error {
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	return e.Encode(w, Image(c, width, p))
}
