package main

import (
	"strings"
	"testing"

	"github.com/rivo/uniseg"
)

// The help of every command fits a terminal: no line is wider than 100 columns.
func TestHelpIsNoWiderThanATerminal(t *testing.T) {
	alone(t)
	lines := 0
	for _, c := range shownCommands((&app{getenv: func(string) string { return "" }}).root()) {
		args := append(strings.Fields(c.CommandPath())[1:], "--help")
		for line := range strings.Lines(must(t, args...)) {
			lines++
			if n := uniseg.StringWidth(strings.TrimRight(line, "\n")); n > helpColumns {
				t.Errorf("sweepd %s: %d columns: %s", strings.Join(args, " "), n, line)
			}
		}
	}
	if lines < 500 {
		t.Errorf("%d lines of help", lines)
	}
}
