package main

import (
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
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

// What is said of a command's use is what the library says of it, but for where lines end,
// and for calling a group of commands without one of them.
func TestUsageIsTheLibrarys(t *testing.T) {
	alone(t)
	root := (&app{getenv: func(string) string { return "" }}).root()
	var aliases, groups int
	for _, c := range shownCommands(root) {
		c.InitDefaultHelpFlag()
		root.SetUsageFunc(usage)
		ours := c.UsageString()
		root.SetUsageFunc(nil)
		library := c.UsageString()
		if c.HasSubCommands() {
			groups++
			library = strings.Replace(library, "\n  "+c.UseLine()+"\n", "\n", 1)
		}
		aliases += strings.Count(library, "Aliases:")
		if diff := cmp.Diff(strings.Fields(library), strings.Fields(ours)); diff != "" {
			t.Errorf("%s (- the library, + ours):\n%s", c.CommandPath(), diff)
		}
		if slices.ContainsFunc(strings.Split(ours, "\n"), func(line string) bool { return strings.TrimRight(line, " ") != line }) || strings.Contains(ours, "\n\n\n") {
			t.Errorf("%s: blanks at the end of a line, or two blank lines:\n%s", c.CommandPath(), ours)
		}
	}
	if groups < 5 || aliases < 2 && runtime.GOOS == "linux" { // those with other names are its
		t.Errorf("%d commands with aliases, %d groups", aliases, groups)
	}
}
