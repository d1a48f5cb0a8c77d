package browser

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// Print prints the page as its style sheet wants it and returns the PDF's file.
func (p *Page) Print() (file string) {
	p.t.Helper()
	var x struct{ Data string }
	p.must("Page.printToPDF", map[string]any{"preferCSSPageSize": true, "printBackground": false}, &x)
	pdf, err := base64.StdEncoding.DecodeString(x.Data)
	must(p.t, err)
	file = filepath.Join(p.t.TempDir(), "page.pdf")
	must(p.t, os.WriteFile(file, pdf, 0o644))
	return file
}

// PrintFaults prints the page and finds pages more than half empty, but the last, and those
// that end with a heading. Without poppler the test is skipped, but fails with CI=true.
func (p *Page) PrintFaults() (list []string) {
	p.t.Helper()
	for _, program := range []string{"pdftoppm", "pdftotext"} {
		if _, err := exec.LookPath(program); err != nil {
			if os.Getenv("CI") == "true" {
				p.t.Fatal(err)
			}
			p.t.Skip(err)
		}
	}
	var headings []string
	must(p.t, p.Eval(`[...document.querySelectorAll("h1, h2, h3, h4, caption, summary, figcaption, th")].map((e) => e.textContent)`, &headings))
	known := map[string]bool{}
	for _, h := range headings {
		known[letters(h)] = true
	}
	file := p.Print()
	ends := p.lastLines(file)
	for i, empty := range p.emptyShares(file) {
		if i < len(ends)-1 && empty > 0.5 {
			list = append(list, fmt.Sprintf("page %d of %d: %.0f %% are empty", i+1, len(ends), 100*empty))
		}
	}
	for i, line := range ends {
		if known[letters(line)] {
			list = append(list, fmt.Sprintf("page %d of %d ends with the heading %q", i+1, len(ends), line))
		}
	}
	return list
}

// letters leaves of a text what is the same however it is laid out.
func letters(text string) string {
	return strings.ToLower(regexp.MustCompile(`[^\pL\pN]`).ReplaceAllString(text, ""))
}

// lastLines are the lowest lines of the pages: texts as pdftotext finds them.
func (p *Page) lastLines(file string) (lines []string) {
	p.t.Helper()
	text, err := exec.Command("pdftotext", "-bbox-layout", file, "-").Output()
	must(p.t, err)
	type line struct {
		YMax  float64  `xml:"yMax,attr"`
		Words []string `xml:"word"`
	}
	var x struct {
		Pages []struct {
			Lines []struct {
				Lines []line `xml:"line"`
			} `xml:"flow>block"`
		} `xml:"body>doc>page"`
	}
	decoder := xml.NewDecoder(bytes.NewReader(text))
	decoder.Strict, decoder.Entity = false, xml.HTMLEntity
	must(p.t, decoder.Decode(&x))
	for _, page := range x.Pages {
		var all []line
		for _, b := range page.Lines {
			all = append(all, b.Lines...)
		}
		last := ""
		if len(all) > 0 {
			low := slices.MaxFunc(all, func(a, b line) int { return int(1000 * (a.YMax - b.YMax)) })
			last = strings.Join(low.Words, " ")
		}
		lines = append(lines, last)
	}
	return lines
}

// emptyShares are the shares of the pages' heights without ink, but for white of less than
// a twentieth of the page between two things, and for the margins.
func (p *Page) emptyShares(file string) (shares []float64) {
	p.t.Helper()
	dir := p.t.TempDir()
	if out, err := exec.Command("pdftoppm", "-png", "-gray", "-r", "30", file, filepath.Join(dir, "page")).CombinedOutput(); err != nil {
		p.t.Fatal(err, string(out))
	}
	pictures, err := filepath.Glob(filepath.Join(dir, "*.png"))
	must(p.t, err)
	slices.Sort(pictures) // pdftoppm pads their numbers
	for _, path := range pictures {
		f, err := os.Open(path)
		must(p.t, err)
		picture, err := png.Decode(f)
		must(p.t, f.Close())
		must(p.t, err)
		shares = append(shares, emptyShare(picture))
	}
	if len(shares) == 0 {
		p.t.Fatal(fmt.Errorf("%s has no page", file))
	}
	return shares
}

func emptyShare(page image.Image) float64 {
	size := page.Bounds()
	margin := size.Dy() * 15 / 297 // as the style sheet has it, on A4
	height := size.Dy() - 2*margin
	empty, run := 0, 0
	for y := margin; y < size.Max.Y-margin; y++ {
		ink := false
		for x := size.Min.X; x < size.Max.X && !ink; x++ {
			level, _, _, _ := page.At(x, y).RGBA()
			ink = level < 0xf000
		}
		if run++; !ink && y < size.Max.Y-margin-1 {
			continue
		}
		if run > height/20 {
			empty += run
		}
		run = 0
	}
	return float64(empty) / float64(height)
}
