package text

import (
	"fmt"
	"io"

	"sweepd/report/sentence"
	"sweepd/report/table"
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

// table writes a table under its caption.
func (p *page) table(t *table.Table) {
	if t.Caption != "" {
		p.tell(Plain, t.Caption)
	}
	if p.err == nil && len(t.Rows) > 0 {
		p.err = Write(p.w, t, p.o)
	}
}

func (p *page) sentences(list []sentence.Sentence) {
	for _, s := range list {
		p.tell(s.Tone, s.Text)
	}
}
