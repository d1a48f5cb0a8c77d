package main

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"sweepd/testday"
)

// person has commands ask the agent that answers, as somebody does who names no folder
// and has one of his own.
func person(t *testing.T) {
	t.Helper()
	home := t.TempDir()
	t.Setenv("SWEEPD_DATA", "")
	t.Setenv("HOME", home)
	t.Setenv("XDG_STATE_HOME", filepath.Join(home, "state"))
}

// passing is what changes from moment to moment: when a plan will end.
var passing = regexp.MustCompile(`"expected_end": "[^"]*"|expected end \S+ \S+`)

// TestAgentAnswersAsTheDataDoes asks every question both ways: of the data in this
// process, and of an agent that holds it. Texts, JSON, remarks and exit codes are the
// same.
func TestAgentAnswersAsTheDataDoes(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	must(t, "run", "reject", "last", "--why", "an update ran")
	liveDevice(t)
	startAgent(t, "--data", data)
	plan := "plan new --device unit-oak --workload harbour-flight --settings 8-28/4 --repeats 2 --variant cores=6 --seed 42"
	t.Setenv("SWEEPD_DATA", "")
	must(t, strings.Fields(plan)...) // by the agent
	questions := []string{
		plan, "plan list", "plan status", "plan status --every", "plan status --csv", "plan status --device nobody", "plan next", "plan next --device unit-oak",
		"plan follow 7", "plan extend --by device --metric none", "plan new --settings 8-28/4", "setting --infer last",
		"run list", "run list --supply battery --last 5", "run list --since 2026-05-04 --until 12:00 --device unit-oak", "run list --device nobody",
		"run list --finding bogus", "run list --state rejected", "run show last", "run show 0001", "run show nothing-like-it",
		"run show LAST", "run show ''", "run show .", "run show ..", "run history ''", "run trim .. --undo", "run result '' a=3", "run reject .. --why x", "run keep '' --why x",
		"run doubts", "run doubts --device unit-elm",
		"compare --by device", "compare --by supply", "compare --by supply --at package", "compare --by device --per system --supply battery",
		"compare --by device --price unit-oak=599EUR --price unit-elm=449EUR", "compare --a until=2026-05-04 --b since=2026-05-05",
		"compare --by variant", "compare --by device --metric none",
		"curve", "curve --device unit-oak --supply mains", "curve --metric none",
		"export --as csv --out -", "export --as csv --plain --out - --device unit-oak", "export --as json --out - --last 3", "check",
		"battery", "battery --full-energy 48.6Wh+-2% --reserve 5%", "battery --supply mains",
	}
	for _, q := range questions {
		for _, form := range [][]string{nil, {"--json"}} {
			args := append(strings.Fields(q), form...)
			for i, word := range args {
				if word == "''" { // as of a variable that is not set
					args[i] = ""
				}
			}
			t.Setenv("SWEEPD_DATA", data)
			want := sweepd(t, args...)
			t.Setenv("SWEEPD_DATA", "")
			got := sweepd(t, args...)
			if got.code != want.code || passing.ReplaceAllString(got.out, "") != passing.ReplaceAllString(want.out, "") || got.stderr != want.stderr {
				t.Errorf("sweepd %s: the agent answers\n%d %s%s\nthe data\n%d %s%s", strings.Join(args, " "), got.code, got.out, got.stderr, want.code, want.out, want.stderr)
			}
		}
	}
}

// TestCommandsFindTheAgentsData has a person whose agent keeps its data elsewhere read it,
// and make no second database.
func TestCommandsFindTheAgentsData(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	liveDevice(t)
	startAgent(t, "--data", data)
	person(t)
	if out := must(t, "run", "list"); !strings.Contains(out, "unit-elm") {
		t.Errorf("run list: %s", out)
	}
	must(t, "plan", "new", "--workload", "harbour-flight", "--settings", "25W", "--repeats", "1")
	if out := must(t, "plan", "status"); !strings.Contains(out, "2 left") {
		t.Errorf("plan status: %s", out)
	}
	if left, err := filepath.Glob(filepath.Join(os.Getenv("HOME"), "*")); err != nil || len(left) > 0 {
		t.Errorf("made beside the agent's data: %v %v", left, err)
	}
}

// TestFilesTravel has a person export, report, import and merge through the agent: the
// command opens and writes the files, and what they hold is as without an agent.
func TestFilesTravel(t *testing.T) {
	data, other, files := alone(t), t.TempDir(), t.TempDir()
	campaignOf(t, data, "unit-oak")
	campaignOf(t, other, "unit-elm")
	liveDevice(t)
	startAgent(t, "--data", data)
	at := func(name string) string { return filepath.Join(files, name) }
	frames := "frame_ms\n" + strings.Repeat("16.7\n16.6\n33.4\n", 400)
	for name, text := range map[string]string{"table.csv": "device,workload,setting_w,fps_mean\nunit-oak,tile-sort,25,60\n", "bad.csv": "device,workload,setting_w,fps_mean\nunit-oak,tile-sort,25,fast\n", "frames.csv": frames} {
		if err := os.WriteFile(at(name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, way := range []string{data, ""} {
		t.Setenv("SWEEPD_DATA", way)
		name := "direct"
		if way == "" {
			name = "agent"
		}
		must(t, "export", "--as", "csv", "--out", at(name+".csv"))
		must(t, "report", "--out", at(name), "--frames", "oak at 25 W="+at("frames.csv"))
	}
	for _, name := range []string{".csv", "/charts"} {
		if err := exec.CommandContext(t.Context(), "diff", "-r", at("direct"+name), at("agent"+name)).Run(); err != nil {
			t.Errorf("%s differ: %v", name, err)
		}
	}
	if o := sweepd(t, "report", "--out", at("none"), "--device", "nobody"); o.code != exitFailed || !strings.Contains(o.stderr, "nothing to report") {
		t.Errorf("a report of nothing: %d %s", o.code, o.stderr)
	}
	if o := sweepd(t, "import", at("bad.csv")); o.code != exitFailed || !strings.Contains(o.stderr, "fast") || !strings.Contains(o.stderr, "bad.csv") {
		t.Errorf("a bad table: %d %s", o.code, o.stderr)
	}
	if out := must(t, "import", at("table.csv")); !strings.Contains(out, "1 run added") {
		t.Errorf("import: %s", out)
	}
	if out := must(t, "merge", other); !strings.Contains(out, "48 runs added") {
		t.Errorf("merge: %s", out)
	}
	if o := sweepd(t, "merge", at("table.csv")); o.code != exitFailed || !strings.Contains(o.stderr, "not a data file of sweepd") {
		t.Errorf("merge of a table: %d %s", o.code, o.stderr)
	}
	if out := must(t, "run", "list", "--device", "unit-elm", "--json"); strings.Count(out, `"id"`) != 48 {
		t.Errorf("after the merge: %s", out)
	}
	if left, err := filepath.Glob(filepath.Join(data, testday.Incoming+"*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

// TestCorrectingNeedsTheRight has somebody who cannot read the agent's token start and
// stop a run and plan, but correct nothing; who can, corrects. (The tests run as root, so
// that the token is made away with in place of its mode.)
func TestCorrectingNeedsTheRight(t *testing.T) {
	data := alone(t)
	liveDevice(t)
	startAgent(t, "--data", data)
	person(t)
	token := filepath.Join(data, "api.token")
	if info, err := os.Stat(token); err != nil || info.Mode().Perm() != 0o640 {
		t.Fatalf("the token: %v %v", info, err)
	}
	if err := os.Rename(token, token+".away"); err != nil {
		t.Fatal(err)
	}
	must(t, "run", "start", "--workload", "tile-sort", "--setting", "25W")
	must(t, "run", "stop", "--result", "score=12")
	must(t, "run", "result", "last", "load time=4.2 s")
	must(t, "plan", "new", "--workload", "tile-sort", "--settings", "25W")
	table := filepath.Join(t.TempDir(), "table.csv")
	if err := os.WriteFile(table, []byte("device,workload,setting_w,fps_mean\nunit-oak,tile-sort,25,60\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	changes := []string{"run result last score=13", "run reject last --why seen", "run correct last --set-workload other-job --yes", "import " + table, "merge " + t.TempDir()}
	for _, args := range changes[:4] {
		o := sweepd(t, strings.Fields(args)...)
		if o.code != exitFailed || !strings.Contains(o.stderr, data) || !strings.Contains(o.stderr, "sudo") {
			t.Errorf("%s: %d %s", args, o.code, o.stderr)
		}
	}
	if err := os.Rename(token+".away", token); err != nil {
		t.Fatal(err)
	}
	for _, args := range changes[:2] {
		must(t, strings.Fields(args)...)
	}
	if out := must(t, "status"); !strings.Contains(out, "asked: the agent at") || !strings.Contains(strings.Join(strings.Fields(out), " "), "keeps its data in "+data) {
		t.Errorf("status: %s", out)
	}
}

// TestAgentThatHangsIsNotPassedBy has a person's commands say that the agent hangs, and
// not read another folder in its place.
func TestAgentThatHangsIsNotPassedBy(t *testing.T) {
	alone(t)
	person(t)
	l, err := net.Listen("tcp", "127.0.0.1:0") // it takes connections, and nobody answers
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	t.Setenv("SWEEPD_AGENT", "http://"+l.Addr().String())
	if o := sweepd(t, "run", "list"); o.code != exitFailed || !strings.Contains(o.stderr, "does not answer within") {
		t.Errorf("%d %s%s", o.code, o.out, o.stderr)
	}
}

// TestAgentThatWasNamedIsNotPassedBy has a person's commands say that the agent that was
// named does not answer, and neither read nor make another folder in its place.
func TestAgentThatWasNamedIsNotPassedBy(t *testing.T) {
	alone(t)
	person(t)
	table := filepath.Join(t.TempDir(), "table.csv")
	if err := os.WriteFile(table, []byte("device,workload,setting_w,fps_mean\nunit-oak,tile-sort,25,60\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const away = "http://127.0.0.1:1"
	for _, way := range []string{"SWEEPD_AGENT", "--agent"} {
		named, url := []string{}, away
		if way == "--agent" {
			named, url = []string{"--agent", away}, ""
		}
		t.Setenv("SWEEPD_AGENT", url)
		for _, args := range []string{"import " + table, "run list", "run show last", "status", "plan new --workload tile-sort --settings 25W", "compare --by supply"} {
			o := sweepd(t, append(strings.Fields(args), named...)...)
			if o.code != exitFailed || o.out != "" || !strings.Contains(o.stderr, "no agent answers at "+away) || !strings.Contains(o.stderr, "--data DIR") {
				t.Errorf("%s: %s: %d %s%s", way, args, o.code, o.out, o.stderr)
			}
		}
		must(t, append([]string{"version"}, named...)...)
		must(t, append([]string{"help", "import"}, named...)...)
		folder := t.TempDir()
		if out := must(t, append([]string{"import", table, "--data", folder}, named...)...); !strings.Contains(out, "1 run added") {
			t.Errorf("%s, and a folder: %s", way, out)
		}
	}
	if left, err := filepath.Glob(filepath.Join(os.Getenv("HOME"), "*")); err != nil || len(left) > 0 {
		t.Errorf("made beside the agent's data: %v %v", left, err)
	}
}
