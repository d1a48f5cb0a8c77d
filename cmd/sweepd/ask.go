package main

import (
	"bufio"
	"fmt"
	"os"
	"strings"

	"golang.org/x/term"
)

// ask puts a question that is answered with yes or no to the person at the terminal.
// No other answer than y or yes is a yes. Where nobody sits there, in a script or
// with --json, nothing is asked.
func (a *app) ask(question string) (yes, asked bool) {
	f, ok := a.in.(*os.File)
	if !ok || a.json || !term.IsTerminal(int(f.Fd())) {
		return false, false
	}
	fmt.Fprint(a.err, question+" [y/N] ")
	line, _ := bufio.NewReader(f).ReadString('\n')
	switch strings.ToLower(strings.TrimSpace(line)) {
	case "y", "yes":
		return true, true
	}
	return false, true
}
