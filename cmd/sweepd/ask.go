package main

import (
	"bufio"
	"fmt"
	"os"

	"golang.org/x/term"

	"sweepd/run"
)

// ask puts a question that is answered with yes or no to the person at the terminal.
// No other answer than y or yes is a yes. Where nobody sits there, in a script or
// with --json, nothing is asked.
func (a *app) ask(question string) (yes, asked bool) {
	answer, asked := a.reply(question + " [y/N] ")
	return agreed(answer), asked
}

// agreed tells whether an answer is a yes.
func agreed(answer string) bool { return answer == "y" || answer == "yes" }

// reply puts a question to the person at the terminal, and gives what was typed, in
// small letters.
func (a *app) reply(question string) (answer string, asked bool) {
	f, ok := a.in.(*os.File)
	if !ok || a.json || !term.IsTerminal(int(f.Fd())) {
		return "", false
	}
	fmt.Fprint(run.VisibleWriter{To: a.err}, question)
	return answered(bufio.NewReader(f).ReadString('\n')), true
}
