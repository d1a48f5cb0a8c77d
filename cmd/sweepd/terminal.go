package main

import (
	"io"
	"os"
	"strconv"

	"golang.org/x/term"

	"sweepd/report/text"
	"sweepd/run"
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

// shown is standard output for sentences that hold texts from elsewhere.
func (a *app) shown() io.Writer { return run.VisibleWriter{To: a.out} }

// printer writes what this command shows.
type printer struct{ text.Printer }

func (a *app) printer() *printer {
	return &printer{text.Printer{Out: a.out, Options: a.terminal(a.out)}}
}
