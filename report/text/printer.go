package text

import (
	"fmt"
	"io"

	"sweepd/report/sentence"
	"sweepd/report/table"
)

// Printer writes to a terminal or a file. After an error it writes nothing more and
// keeps the error.
type Printer struct {
	Out io.Writer
	Options
	Err error
}

// Line writes a line as it is, however long.
func (p *Printer) Line(format string, args ...any) {
	if p.Err == nil {
		_, p.Err = fmt.Fprintf(p.Out, format+"\n", args...)
	}
}

// Say writes a text in lines that fit; those after the first begin with indent.
func (p *Printer) Say(s, indent string, tone Tone) {
	p.Line("%s", p.PaintLines(p.Wrap(s, indent), tone))
}

// Table writes a table under its caption; without rows, the caption alone.
func (p *Printer) Table(t *table.Table) {
	if t.Caption != "" {
		p.Say(t.Caption, "  ", Plain)
	}
	if p.Err == nil && len(t.Rows) > 0 {
		p.Err = Write(p.Out, t, p.Options)
	}
}

func (p *Printer) sentences(list []sentence.Sentence) {
	for _, s := range list {
		p.Say(s.Text, "  ", s.Tone)
	}
}
