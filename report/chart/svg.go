package chart

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// families are faces of the same widths as the one that was measured, and then
// whatever there is.
const families = "Liberation Sans,Arial,Helvetica,sans-serif"

// SVG draws a chart as a file of its own.
func SVG(c *Chart, s Size, p *Palette) []byte {
	body, height := svgBody(c, s, p)
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%g" height="%g" viewBox="0 0 %g %g" font-family="%s" role="img" aria-labelledby="title alt">`,
		s.Width, height, s.Width, height, families)
	fmt.Fprintf(&b, "\n<title id=\"title\">%s</title>\n<desc id=\"alt\">%s</desc>\n", html.EscapeString(clean(c.Title)), html.EscapeString(clean(c.Alt)))
	b.WriteString(body)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// Inline draws a chart for a page: its colours are the page's custom properties
// --paper, --ink and so on (Names), so that one picture serves both palettes.
// title and alt are the ids of elements that hold its title and its words.
func Inline(c *Chart, s Size, title, alt string) string {
	body, height := svgBody(c, s, &Light)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" font-family="%s" role="img" aria-labelledby="%s" aria-describedby="%s">`,
		s.Width, height, families, html.EscapeString(clean(title)), html.EscapeString(clean(alt)))
	b.WriteString(byName(body))
	b.WriteString("</svg>")
	return b.String()
}

// svgBody is what stands between the tags of the picture.
func svgBody(c *Chart, s Size, p *Palette) (body string, height float64) {
	tidy := cleaned(c)
	s = fitting(tidy, s)
	height = heightOf(tidy, s)
	canvas := vgsvg.New(vg.Length(s.Width), vg.Length(height))
	draw(canvas, tidy, s, p)
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		panic("writing to memory failed: " + err.Error())
	}
	text := b.String()
	from := strings.Index(text, "<svg")
	from += strings.Index(text[from:], ">") + 1
	return shorten(text[from:strings.LastIndex(text, "</svg>")]), height
}

// fontWords are what every text of the library's repeats.
var fontWords = regexp.MustCompile(`font-family:Liberation Sans;font-variant:normal;(font-weight:bold;)?(?:font-weight:normal;)?font-style:normal;`)

func shorten(svg string) string {
	svg = fontWords.ReplaceAllString(svg, "$1")
	svg = strings.ReplaceAll(svg, "\n\tstyle", " style")
	return texts.ReplaceAllStringFunc(svg, measured)
}

// texts are the library's text elements.
var texts = regexp.MustCompile(`<text ([^>]*?)style="((?:font-weight:bold;)?)font-size:([0-9.]+)px;?([^"]*)">([^<]*)</text>`)

// measured writes the length that a text was laid out with into its element, so
// that it keeps its place where another face is used. A text that the measured
// face lacks letters of keeps its own length.
func measured(element string) string {
	m := texts.FindStringSubmatch(element)
	size, err := strconv.ParseFloat(m[3], 64)
	text := html.UnescapeString(m[5])
	l := lettering{size, m[2] != ""}
	if err != nil || !l.has(text) {
		return element
	}
	return fmt.Sprintf(`<text %stextLength="%.1f" lengthAdjust="spacingAndGlyphs" style="%sfont-size:%spx;%s">%s</text>`, m[1], l.width(text), m[2], m[3], m[4], m[5])
}

var hexColour = regexp.MustCompile(`#[0-9A-Fa-f]{6}\b`)

// property gives each colour of the light palette its custom property. The
// colours differ from each other, so that each has one (TestPalette).
var property = func() map[string]string {
	out := map[string]string{}
	for i, c := range Light.Colours() {
		out[fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B)] = "var(--" + Names[i] + ")"
	}
	return out
}()

// styled finds the style attributes, so that no text is touched.
var styled = regexp.MustCompile(`style="[^"]*"`)

func byName(svg string) string {
	return styled.ReplaceAllStringFunc(svg, func(style string) string {
		return hexColour.ReplaceAllStringFunc(style, func(hex string) string {
			if name, ok := property[strings.ToLower(hex)]; ok {
				return name
			}
			return hex
		})
	})
}

// cleaned is the chart with texts that may stand in XML.
func cleaned(c *Chart) *Chart {
	out := *c
	out.Title = clean(c.Title)
	out.Lines = make([]string, len(c.Lines))
	for i, s := range c.Lines {
		out.Lines[i] = clean(s)
	}
	out.Footer = make([]string, len(c.Footer))
	for i, s := range c.Footer {
		out.Footer[i] = clean(s)
	}
	out.Panels = make([]Panel, len(c.Panels))
	for i, p := range c.Panels {
		p.Title, p.X.Label, p.Y.Label = clean(p.Title), clean(p.X.Label), clean(p.Y.Label)
		p.X.Unit, p.Y.Unit = clean(p.X.Unit), clean(p.Y.Unit)
		p.Guides = append([]Guide(nil), p.Guides...)
		for k := range p.Guides {
			p.Guides[k].Text = clean(p.Guides[k].Text)
		}
		p.Spans = append([]Span(nil), p.Spans...)
		for k := range p.Spans {
			p.Spans[k].Text = clean(p.Spans[k].Text)
		}
		out.Panels[i] = p
	}
	return &out
}
