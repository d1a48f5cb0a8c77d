package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The wrong file, the wrong number, the wrong name of a run: each is said in plain words,
// with what is right.
func TestSlipsOfFilesNumbersAndNames(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	table := writeFile(t, "day-one.csv", "device,workload,score\nunit-oak,tile-sort,5\n")
	dir := filepath.Dir(table)
	quote := writeFile(t, "quote.csv", "device,workload,score\nunit-oak,tile\"sort,5\n")
	negative := writeFile(t, "negative.csv", "run,fps_mean (fps)\nlast,-3\n")
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"merge " + table, exitFailed, "but a table: sweepd import " + table},
		{"merge " + dir + "/nosuch.db", exitFailed, "there is no file " + dir + "/nosuch.db: name the sweepd.db of the other device"},
		{"merge " + dir, exitFailed, "has no sweepd.db"},
		{"import " + data + "/sweepd.db", exitFailed, "is a data file, not a table: sweepd merge "},
		{"import " + dir + "/day-on.csv", exitFailed, "did you mean " + table + "?"},
		{"import " + dir + "/nowhere/day.csv", exitFailed, "there is no folder " + dir + "/nowhere"},
		{"import " + quote, exitFailed, "a quote (\") is missing there or one too many"},
		{"export --as csv --out " + dir + "/nowhere/day.csv", exitFailed, "there is no folder " + dir + "/nowhere, make it or name another"},
		{"run result last fps_mean=-3fps", exitUsage, "-3 fps is below 0, which no rate and no duration is"},
		{"run result last load=-3ms", exitUsage, "is below 0"},
		{"run result last copied=-3MB/s", exitUsage, "is below 0"},
		{"run result last warmed=-3°C", exitOK, ""},
		{"run result last gained=-3%", exitOK, ""},
		{"run result last fps_delta=-3fps", exitOK, ""},
		{"run result last saved=-3", exitOK, ""},
		{"run result --from " + negative, exitFailed, "is below 0"},
		{"run show LAST", exitOK, ""},
		{"run show lst", exitFailed, `the run that was recorded last is called "last"`},
		{"run show latest", exitFailed, `the run that was recorded last is called "last"`},
		{"run show nosuch", exitFailed, "`sweepd run list` lists them"},
		{"run list --last 0", exitUsage, "want a whole number from 1"},
		{"agent --listen 127.0.0.1:99999", exitUsage, "with a port from 0 to 65535"},
		{"run stop", exitFailed, "no agent answers at http://127.0.0.1:1 (nothing listens there)"},
	} {
		o := sweepd(t, strings.Fields(c.args)...)
		if o.code != c.code || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: exit %d, want %d with %q\n%s", c.args, o.code, c.code, c.says, o.stderr)
		}
	}
	if o := sweepd(t, "status"); strings.Contains(o.out, "dial tcp") {
		t.Errorf("status: %s", o.out)
	}
}

// An empty id is no run, whoever is asked.
func TestAnEmptyIDIsNoRun(t *testing.T) {
	alone(t)
	campaign(t, os.Getenv("SWEEPD_DATA"))
	commands := [][]string{{"run", "show", ""}, {"run", "history", ""}, {"run", "trim", ""}, {"run", "result", "", "score=3"},
		{"run", "keep", "", "--why", "x"}, {"run", "reject", "", "--why", "x"}}
	var alone []outcome
	for _, args := range commands {
		o := sweepd(t, args...)
		if o.code != exitFailed || !strings.Contains(o.stderr, `run "": no such run`) {
			t.Errorf("%q: %+v", args, o)
		}
		alone = append(alone, o)
	}
	liveDevice(t)
	startAgent(t)
	t.Setenv("SWEEPD_DATA", "")
	for i, args := range commands {
		if o := sweepd(t, args...); o != alone[i] {
			t.Errorf("%q: the agent says %+v, without one it is %+v", args, o, alone[i])
		}
	}
}
