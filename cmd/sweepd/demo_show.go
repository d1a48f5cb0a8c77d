package main

import (
	"context"
	"fmt"
	"strings"

	"sweepd/report/text"
	"sweepd/store"
)

// demoQuestions are what the demonstration asks the data, each a command line
// that the user can repeat.
var demoQuestions = []struct {
	question string
	args     []string
}{
	{"Which device is ahead, at which setting?", []string{"compare", "--by", "device", "--a", "unit-oak", "--b", "unit-elm", "--workload", "harbour-flight", "--supply", "mains"}},
	{"What changes on battery?", []string{"compare", "--by", "supply", "--workload", "harbour-flight", "--device", "unit-elm"}},
	{"How do results scale, and which settings are ignored?", []string{"curve", "--workload", "harbour-flight", "--device", "unit-oak", "--supply", "mains"}},
	{"How long does the battery last?", []string{"battery", "--workload", "harbour-flight", "--device", "unit-oak"}},
}

// showDemo answers the questions and says what to try next.
func (a *app) showDemo(ctx context.Context, dir string) error {
	if err := a.countDemo(ctx, dir); err != nil {
		return err
	}
	for _, q := range demoQuestions {
		fmt.Fprintf(a.out, "\n%s\n$ sweepd %s\n\n", a.look(a.out).Paint(q.question, text.Good), strings.Join(q.args, " "))
		if err := a.repeat(ctx, append(q.args, "--data", dir)); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.out, `
The data is in %[1]s: an SQLite file that the sqlite3 shell can read.
Try next:
  export SWEEPD_DATA=%[1]s
  sweepd run list --device unit-oak
  sweepd run show last
  sweepd compare --by device --workload tile-sort --a unit-oak --b unit-elm --at package
(sweepd is what you just ran: go build -o sweepd ./cmd/sweepd makes it a program.)
`, dir)
	return nil
}

// countDemo says how many runs there are and what was found wrong with some.
func (a *app) countDemo(ctx context.Context, dir string) error {
	s, err := store.Open(dir, store.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	runs, err := s.Runs(ctx, store.Filter{})
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%d runs of two simulated devices. Runs that need a look:\n", len(runs))
	for _, r := range runs {
		for _, f := range r.Findings {
			if f.Severity != "note" {
				fmt.Fprintf(a.out, "  %s, %s, %s at %s on %s: %s\n", f.Severity, r.Device, r.Workload, r.Setting, r.Supply, f.Text)
			}
		}
	}
	return nil
}

// repeat runs a command line of this program.
func (a *app) repeat(ctx context.Context, args []string) error {
	again := &app{in: a.in, out: a.out, err: a.err, getenv: a.getenv}
	root := again.root()
	root.SetArgs(args)
	root.SetOut(a.out)
	root.SetErr(a.err)
	return root.ExecuteContext(ctx)
}
