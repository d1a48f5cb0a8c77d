package text

import (
	"fmt"
	"io"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/run"
)

// Printer writes to a terminal or a file. After an error it writes nothing more and
// keeps the error.
type Printer struct {
	Out io.Writer
	Options
	Err error
}

// Line writes a line, however long.
func (p *Printer) Line(format string, args ...any) {
	p.Painted(run.VisibleLines(fmt.Sprintf(format, args...)))
}

// Painted writes a line of which parts were painted, as it is.
func (p *Printer) Painted(line string) {
	if p.Err == nil {
		_, p.Err = fmt.Fprintln(p.Out, line)
	}
}

// Say writes a text in lines that fit; those after the first begin with indent.
func (p *Printer) Say(s, indent string, tone Tone) {
	p.Painted(p.PaintLines(p.Wrap(s, indent), tone))
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
