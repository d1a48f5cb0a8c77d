package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

// outcome is what one command line led to.
type outcome struct {
	code        int
	out, stderr string
}

// sweepd runs a command line as a user does.
func sweepd(t *testing.T, args ...string) outcome {
	t.Helper()
	var out, stderr bytes.Buffer
	code := Run(t.Context(), args, strings.NewReader(""), &out, &stderr)
	return outcome{code, out.String(), stderr.String()}
}

// must runs a command line that has to work, and returns what it printed.
func must(t *testing.T, args ...string) string {
	t.Helper()
	o := sweepd(t, args...)
	if o.code != exitOK {
		t.Fatalf("sweepd %s: exit %d\n%s", strings.Join(args, " "), o.code, o.stderr)
	}
	return o.out
}

// words are a text's, with one blank between them.
func words(text string) string { return strings.Join(strings.Fields(text), " ") }

// wantWords wants each of the words in a text.
func wantWords(t *testing.T, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) && !strings.Contains(strings.Join(strings.Fields(text), " "), w) { // a line may break in it
			t.Errorf("no %q in\n%s", w, text)
		}
	}
}

// alone keeps what the user's own environment says away from a test, and gives
// it a data folder.
func alone(t *testing.T) (data string) {
	t.Helper()
	data = t.TempDir()
	for _, name := range []string{"SWEEPD_CONFIG", "COLUMNS"} {
		t.Setenv(name, "")
	}
	t.Setenv("SWEEPD_DATA", data)
	t.Setenv("SWEEPD_AGENT", "http://127.0.0.1:1") // nobody listens on port 1
	return data
}

func TestExitCodes(t *testing.T) {
	alone(t)
	big := strings.Repeat("x", 10_000)
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"version", exitOK, ""},
		{"--version", exitOK, ""},
		{"help", exitOK, ""},
		{"run --help", exitOK, ""},
		{"run start --help", exitOK, ""},
		// What cannot be understood.
		{"bogus", exitUsage, `unknown command "bogus"`},
		{"--bogus", exitUsage, "it has no flag --bogus"},
		{"run start -x", exitUsage, "run start has no flag -x"},
		{"run lits", exitUsage, "did you mean list?"},
		{"stop", exitUsage, "did you mean sweepd plan stop, sweepd run stop"},
		{"strat", exitUsage, "did you mean sweepd run start"},
		{"run next", exitUsage, "did you mean sweepd plan next?"},
		{"help nosuch", exitUsage, `unknown command "nosuch"`},
		{"help run lits", exitUsage, "did you mean list?"},
		{"help stop", exitUsage, "did you mean sweepd plan stop, sweepd run stop"},
		{"help run stop", exitOK, ""},
		{"run list --supply batery", exitUsage, "did you mean battery?"},
		{"compare --by supply --b mians", exitUsage, "did you mean mains?"},
		{"compare --by supply --a battry --b mains", exitUsage, "did you mean battery?"},
		{"compare --a supply=batery --b supply=mains", exitUsage, "did you mean battery?"},
		{"compare --b mians", exitUsage, "Did you mean --by supply"},
		{"compare --a battery --b mains", exitUsage, "Did you mean --by supply"},
		{"run start --workload a --setting 8;12", exitUsage, "looks like several: give one, such as 8W"},
		{"setting 8;12", exitUsage, "looks like several: give one, such as 8W"},
		{"run list --supplly battery", exitUsage, "run list has no flag --supplly: did you mean --supply?"},
		{"compare --by devic", exitUsage, "did you mean device? Want one of device, supply, variant"},
		{"completion bogus", exitUsage, `unknown command "bogus"`},
		{"run show --data", exitUsage, "give it as --data DIR"},
		{"demo --json=maybe", exitUsage, "want true or false"},
		{"demo --out -", exitUsage, "name a folder"},
		{"report --out -", exitUsage, "name a folder"},
		{"run", exitUsage, "needs to know what to do"},
		{"run bogus", exitUsage, `unknown command "bogus"`},
		{"run start --setting 25W", exitUsage, "--workload is missing"},
		{"run start", exitFailed, "no agent answers"},
		{"run start --workload a extra", exitUsage, "extra"},
		{"run start --workload a --variant cores", exitUsage, "not a pair"},
		{"run stop --result fps=fast", exitUsage, `"fast" is not a number`},
		{"run stop --result fps=1,5", exitFailed, "no agent answers"},
		{"run stop --result fps=1,234", exitUsage, "1,234 may be 1.234 or 1234"},
		{"run stop --result fps", exitUsage, "not NAME=VALUE"},
		{"run stop --result fps=1 --result fps=2", exitUsage, "given twice"},
		{"run stop --result fps=1 --lower load", exitUsage, "names no result"},
		{"run show", exitUsage, "a word is missing: give the command as `sweepd run show RUN`"},
		{"run show a b", exitUsage, `"b" is one word too many`},
		{"run result last", exitUsage, "needs NAME=VALUE, or --frames FILE"},
		{"run stop --frame-column frame_ms", exitUsage, "name it with --frames FILE"},
		{"run stop --frames f.csv --frame-unit hours", exitUsage, "no unit of frame times"},
		{"run stop --frames f.csv --frame-delimiter dash", exitUsage, "want one of comma, semicolon, tab, none"},
		{"run stop --frames f.csv --slow-frame -1ms", exitUsage, "not above 0"},
		{"run stop --frames /no/such/file", exitFailed, "no agent answers"},
		{"run reject last", exitUsage, "run reject needs --why TEXT"},
		{"run reject last --why=", exitUsage, "reason is empty"},
		{"run list --supply solar", exitUsage, "want one of mains, battery"},
		{"run list --variant cores", exitUsage, "not a pair"},
		{"run watch --workload a", exitUsage, "give the command as `sweepd run watch -- COMMAND...`"},
		{"run watch --workload a --result-from x=( -- true", exitUsage, "missing closing"},
		{"run watch --workload a --result-from x=y -- true", exitUsage, "no brackets"},
		{"compare", exitUsage, "compare what?"},
		{"compare --by colour", exitUsage, "want one of device, supply, variant"},
		{"compare --by variant --a six", exitUsage, "expected pairs"},
		{"compare --by supply --margin lots", exitUsage, "want a share"},
		{"compare --by supply --at night", exitUsage, "want one of setting, package, system"},
		{"battery --full-energy much", exitUsage, "want watt hours"},
		{"battery --reserve 100%", exitUsage, "want a share"},
		{"setting 25W 30W", exitUsage, `"30W" is one word too many`},
		{"setting --clear 25W", exitUsage, "not both"},
		{"setting 25W --agent nowhere", exitUsage, "is not a URL"},
		{"sensors --for ever", exitUsage, "want a time such as 250ms"},
		// What is understood, but no value of its kind.
		{"setting 2000W", exitUsage, "at most 1000"},
		{"run start --workload " + big, exitUsage, "10000 bytes: at most 200"},
		{"run start --workload a --variant k=" + big, exitUsage, "10000 bytes: at most 200"},
		{"run start --workload a --setting " + big, exitUsage, "10000 bytes: at most 200"},
		{"run start --workload a --setting 0W", exitUsage, "above 0"},
		{"agent --listen nowhere", exitUsage, "HOST:PORT"},
		{"run start --workload a --setting -5W", exitUsage, "above 0"},
		{"run start --workload a --setting 15000mW", exitUsage, "give watts"},
		{"run start --workload= --note x", exitUsage, "workload is empty"},
		// What is understood and cannot be done.
		{"setting 25W", exitFailed, "no agent answers at http://127.0.0.1:1"},
		{"setting", exitFailed, "start one with `sweepd agent`"},
		{"run start --workload a", exitFailed, "no agent answers"},
		{"run stop", exitFailed, "no agent answers"},
		{"run watch --workload a -- whoami", exitFailed, "no agent answers"},
		{"run watch --workload a -- /no/such/command", exitFailed, "cannot be started"},
		{"run list", exitFailed, "no data yet"},
		{"run show last", exitFailed, "no data yet"},
		{"compare --by supply", exitFailed, "no data yet"},
		{"run list --config /no/such/file", exitFailed, "/no/such/file"},
		{"agent --config /no/such/file", exitFailed, "/no/such/file"},
		{"agent --web.config.file /no/such/file", exitFailed, "/no/such/file"},
		{"run correct last --set-supply batery", exitUsage, "did you mean battery?"},
		{"run correct last --set-setting 8;12", exitUsage, "looks like several"},
	} {
		o := sweepd(t, strings.Fields(c.args)...)
		if o.code != c.code || !strings.Contains(o.stderr, c.says) {
			t.Errorf("sweepd %.80s: exit %d, want %d with %q:\n%.400s", c.args, o.code, c.code, c.says, o.stderr)
		}
		if c.code != exitOK && (o.out != "" || len(o.stderr) > 600 || strings.Contains(o.stderr, "Usage:")) {
			t.Errorf("sweepd %.80s: prints more than a sentence:\n%s%s", c.args, o.out, o.stderr)
		}
	}
}

func TestLabelsWithQuotesAndNewlines(t *testing.T) {
	alone(t)
	o := sweepd(t, "run", "start", "--workload", "a\nb")
	if o.code != exitUsage || !strings.Contains(o.stderr, "one line of plain text") {
		t.Errorf("newline: exit %d, %s", o.code, o.stderr)
	}
	o = sweepd(t, "run", "start", "--workload", `the "quoted" one`)
	if o.code != exitFailed || !strings.Contains(o.stderr, "no agent answers") {
		t.Errorf("quotes are allowed: exit %d, %s", o.code, o.stderr)
	}
}

// TestEveryCommandShowsAnExample holds the help texts to one rule.
func TestEveryCommandShowsAnExample(t *testing.T) {
	a := &app{getenv: func(string) string { return "" }}
	root := a.root()
	queue := root.Commands()
	seen := 0
	for len(queue) > 0 {
		c := queue[0]
		queue = append(queue[1:], c.Commands()...)
		if c.Name() == "help" || c.Name() == "completion" || c.Parent() != nil && c.Parent().Name() == "completion" {
			continue
		}
		seen++
		if c.Short == "" || !strings.Contains(c.Example, c.CommandPath()) {
			t.Errorf("%s: help without a sentence or without an example of itself", c.CommandPath())
		}
	}
	if seen < 15 {
		t.Errorf("%d commands seen", seen)
	}
}

// TestPlaceholders holds the help texts to what a user types in a value's place,
// never the name of a type.
func TestPlaceholders(t *testing.T) {
	a := &app{getenv: func(string) string { return "" }}
	for queue := a.root().Commands(); len(queue) > 0; {
		c := queue[0]
		queue = append(queue[1:], c.Commands()...)
		c.Flags().VisitAll(func(f *pflag.Flag) {
			switch what, usage := pflag.UnquoteUsage(f); what {
			case "string", "strings", "stringArray", "duration", "int", "uint", "float", "share", "energy", "value":
				t.Errorf("%s --%s %s: %s", c.CommandPath(), f.Name, what, usage)
			}
		})
	}
}

func TestHelpTells(t *testing.T) {
	for args, want := range map[string][]string{
		"help":             {"Exit status: 0 when", "2 when the command line cannot be understood", "Usage:\n  sweepd [command]"},
		"run --help":       {"Usage:\n  sweepd run [command]"},
		"run watch --help": {"sweepd run watch [flags] -- COMMAND...\n"},
		"run list --help":  {"--supply mains|battery", "--device NAME", "--workload NAME"},
	} {
		out := must(t, strings.Fields(args)...)
		for _, w := range want {
			if !strings.Contains(out, w) {
				t.Errorf("%s lacks %q:\n%s", args, w, out)
			}
		}
	}
}

func TestVersion(t *testing.T) {
	if out := must(t, "version"); !strings.HasPrefix(out, "sweepd ") {
		t.Errorf("got %q", out)
	}
}

func TestRunEndsWithItsContext(t *testing.T) {
	alone(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, stderr bytes.Buffer
	if code := Run(ctx, []string{"agent", "--listen", "127.0.0.1:0"}, strings.NewReader(""), &out, &stderr); code != exitOK {
		t.Errorf("exit %d: %s", code, stderr.String())
	}
}
