package text

import (
	"fmt"
	"io"

	"sweepd/report/sentence"
)

// page writes to a terminal and keeps the first error.
type page struct {
	w   io.Writer
	o   Options
	err error
}

// say writes a sentence in lines that fit; those after the first are indented.
func (p *page) say(format string, args ...any) {
	p.tell(Plain, fmt.Sprintf(format, args...))
}

func (p *page) tell(t Tone, sentence string) {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w, p.o.PaintLines(p.o.Wrap(sentence, "  "), t))
	}
}

func (p *page) gap() {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w)
	}
}

func (p *page) table(t *Table) {
	if p.err == nil && t.Len() > 0 {
		p.err = t.Write(p.w, p.o)
	}
}

// tones are those of sentences on a terminal.
var tones = map[sentence.Tone]Tone{sentence.Good: Good, sentence.Doubtful: Doubtful}

func (p *page) sentences(list []sentence.Sentence) {
	for _, s := range list {
		p.tell(tones[s.Tone], s.Text)
	}
}
