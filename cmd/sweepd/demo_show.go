package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
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
		fmt.Fprintf(a.out, "\n%s\n$ sweepd %s\n\n", a.terminal(a.out).Paint(q.question, text.Good), strings.Join(q.args, " "))
		if err := a.repeat(ctx, append(q.args, "--data", dir)); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.out, "\n%s\n$ sweepd report --out %s\n\n", a.terminal(a.out).Paint("And what gets published?", text.Good), filepath.Join(dir, "report"))
	if err := a.repeat(ctx, []string{"report", "--out", filepath.Join(dir, "report"), "--data", dir}); err != nil {
		return err
	}
	fmt.Fprintf(a.out, `It opens with who is ahead where, what to set and how long the battery lasts.

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
	runs, err := demoRuns(ctx, dir)
	if err != nil {
		return err
	}
	p := a.printer()
	p.Say(fmt.Sprintf("%s, simulated, in %s. Runs that need a look:", sentence.Counted(len(runs), "run"), dir), "", text.Plain)
	sayDoubts(p, testday.Doubts(runs))
	return p.Err
}

func demoRuns(ctx context.Context, dir string) ([]run.Run, error) {
	s, err := sqlite.Open(dir, sqlite.Options{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return s.Runs(ctx, store.Filter{})
}

// repeat runs a command line of this program. Its standard error goes to standard
// output, so that a reader sees which command a remark belongs to.
func (a *app) repeat(ctx context.Context, args []string) error {
	again := &app{in: a.in, out: a.out, err: a.out, getenv: a.getenv}
	return again.execute(ctx, args)
}

func (a *app) execute(ctx context.Context, args []string) error {
	root := a.root()
	root.SetArgs(args)
	root.SetOut(a.out)
	root.SetErr(a.err)
	return root.ExecuteContext(ctx)
}
