package text

import (
	"strings"

	"sweepd/report/sentence"
	"sweepd/run"
)

// Options say what a terminal can show. The zero value is 80 columns without
// colour.
type Options struct {
	Width int // in columns; 0 means 80
	// Unlimited lets tables be as wide as their texts, for a file or a pipe;
	// sentences keep to Width.
	Unlimited bool
	Colour    bool
}

const defaultWidth = 80

// Columns is the width in force.
func (o Options) Columns() int {
	if o.Width <= 0 {
		return defaultWidth
	}
	return o.Width
}

// Tone is how a text is meant. Colour never says anything that the text does not.
type Tone = sentence.Tone

const (
	Plain    = sentence.Plain
	Good     = sentence.Good
	Doubtful = sentence.Doubtful
	Bad      = sentence.Bad

	faint Tone = -1 // the heads of columns
)

// sequences set a tone (ECMA-48, select graphic rendition).
var sequences = map[Tone]string{faint: "\x1b[2m", Good: "\x1b[32m", Doubtful: "\x1b[33m", Bad: "\x1b[31m"}

func (o Options) paint(text string, t Tone) string {
	start := sequences[t]
	if !o.Colour || start == "" || text == "" {
		return text
	}
	return start + text + "\x1b[0m"
}

// Paint gives a text its tone where the terminal can show it.
func (o Options) Paint(text string, t Tone) string { return o.paint(run.Visible(text), t) }

// PaintLines is Paint for a text of several lines.
func (o Options) PaintLines(text string, t Tone) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = o.Paint(lines[i], t)
	}
	return strings.Join(lines, "\n")
}
