package main

import (
	"fmt"
	"io"
	"os"
	"strconv"

	"golang.org/x/term"

	"sweepd/report/table"
	"sweepd/report/text"
)

const (
	toneGood  = text.Good
	toneDoubt = text.Doubtful
	toneBad   = text.Bad
)

// terminal is what a stream can show: a terminal's width, and colour unless NO_COLOR
// is set (no-color.org). What is no terminal gets sentences of 80 columns, or of
// COLUMNS, and tables as wide as they need.
func (a *app) terminal(w io.Writer) text.Options {
	var o text.Options
	if n, err := strconv.Atoi(a.getenv("COLUMNS")); err == nil && n > 0 {
		o.Width = n
	}
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		o.Unlimited = true
		return o
	}
	if width, _, err := term.GetSize(int(f.Fd())); err == nil && o.Width == 0 {
		o.Width = width
	}
	o.Colour = a.getenv("NO_COLOR") == "" && a.getenv("TERM") != "dumb"
	return o
}

// printer keeps the first error of several writes.
type printer struct {
	w        io.Writer
	terminal text.Options
	err      error
}

func (a *app) printer() *printer { return &printer{w: a.out, terminal: a.terminal(a.out)} }

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// sentence writes a text in lines that fit; those after the first are indented.
func (p *printer) sentence(s, indent string, tone text.Tone) {
	p.line("%s", p.terminal.PaintLines(p.terminal.Wrap(s, indent), tone))
}

func (p *printer) table(t *table.Table) {
	if p.err == nil && len(t.Rows) > 0 {
		p.err = text.Write(p.w, t, p.terminal)
	}
}
