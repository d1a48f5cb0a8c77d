package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"sweepd/agent"
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
	fmt.Fprintf(a.out, "\n%s\n$ sweepd report --out %s\n\n", a.look(a.out).Paint("And what gets published?", text.Good), filepath.Join(dir, "report"))
	if err := a.repeat(ctx, []string{"report", "--out", filepath.Join(dir, "report"), "--data", dir}); err != nil {
		return err
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
	p := a.printer()
	p.line("%s, simulated, in %s. Runs that need a look:", counted(len(runs), "run"), dir)
	for _, d := range doubtsOf(runs) {
		p.line("  %s %s, %s of %s at %s: %s", d.severity, d.code, counted(d.runs, "run"), d.device, strings.Join(d.settings, ", "), d.example)
	}
	return p.err
}

// doubts are the findings of one kind about one device.
type doubts struct {
	severity agent.Severity
	code     agent.Code
	device   string
	runs     int
	settings []string
	example  string
}

// doubtsOf gathers what is worse than a note, the worst and commonest first.
func doubtsOf(runs []agent.Run) []*doubts {
	var list []*doubts
	for _, r := range runs {
		for _, f := range r.Findings {
			if f.Severity == agent.SeverityNote {
				continue
			}
			i := slices.IndexFunc(list, func(d *doubts) bool { return d.code == f.Code && d.device == r.Device })
			if i < 0 {
				i = len(list)
				list = append(list, &doubts{severity: f.Severity, code: f.Code, device: r.Device, example: f.Text})
			}
			list[i].runs++
			if s := r.Setting.String(); !slices.Contains(list[i].settings, s) {
				list[i].settings = append(list[i].settings, s)
			}
		}
	}
	slices.SortStableFunc(list, func(x, y *doubts) int {
		if x.severity != y.severity {
			return strings.Compare(string(y.severity), string(x.severity)) // "reject" before "doubt"
		}
		return y.runs - x.runs
	})
	return list
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
