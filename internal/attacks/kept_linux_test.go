package attacks

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// moved is what becomes of the data while the agent has it open.
var moved = []attack{
	away("3 the data folder is deleted", func(m *machine) error { return os.RemoveAll(m.data) }, nil),
	away("3 the data folder is renamed", func(m *machine) error { return os.Rename(m.data, m.path("elsewhere")) },
		func(m *machine) error { return os.Rename(m.path("elsewhere"), m.data) }),
	away("3 the data file is renamed", func(m *machine) error { return os.Rename(m.database(), m.path("elsewhere")) },
		func(m *machine) error { return os.Rename(m.path("elsewhere"), m.database()) }),
	away("3 an older file is put in its place", func(m *machine) error { return os.Rename(m.path("backup"), m.database()) }, nil),
	away("3 the data file is written over with an older one", func(m *machine) error { return m.copy(m.path("backup"), m.database()) }, nil),
	{
		fault:    "3 an older file in its place, the agent is killed before it notices",
		expected: "the log that is left is not mixed into it: refused, with what to do",
		try: func(t *testing.T, m *machine) string {
			a := m.agentWithBackup()
			m.mustRun("run", "start", "--workload", "harbour-flight")
			if err := os.Rename(m.path("backup"), m.database()); err != nil {
				t.Fatal(err)
			}
			a.kill()
			// The backup has no run after its own; what the log has of other pages must not show.
			o := m.run("run", "list", "--json")
			if o.code == 0 && strings.Contains(o.stdout, "harbour-flight") {
				t.Errorf("the file that was put in place shows a run that is not in it: %s", o.stdout)
			}
			if o.code != 0 && !strings.Contains(o.stderr, "move the log") {
				t.Errorf("exit %d: %s", o.code, o.stderr)
			}
			return fmt.Sprintf("exit %d %s", o.code, firstWords(o.stderr))
		},
	},
	{
		fault:    "3 agent.lock is deleted while the agent runs, a second agent is started",
		expected: "the second is refused; after a kill a third one starts",
		try: func(t *testing.T, m *machine) string {
			a := m.agent()
			if err := os.Remove(filepath.Join(m.data, "agent.lock")); err != nil {
				t.Fatal(err)
			}
			o := m.run("agent", "--listen", "127.0.0.1:0")
			if o.code != 1 || !strings.Contains(o.stderr, "another agent") {
				t.Errorf("exit %d: %s", o.code, o.stderr)
			}
			a.kill()
			m.agent()
			return "refused, and free after the kill"
		},
	},
	{
		fault:    "3, 9 agent.lock is a link to another file",
		expected: "the link is not followed, its target stays as it is",
		try: func(t *testing.T, m *machine) string {
			target := m.write("target", "mine")
			if err := os.Mkdir(m.data, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(target, filepath.Join(m.data, "agent.lock")); err != nil {
				t.Fatal(err)
			}
			o := m.run("agent", "--listen", "127.0.0.1:0")
			text, err := os.ReadFile(target)
			if o.code != 1 || err != nil || string(text) != "mine" {
				t.Errorf("exit %d, target %q: %s", o.code, text, o.stderr)
			}
			return firstWords(o.stderr)
		},
	},
}

// database is the machine's data file.
func (m *machine) database() string { return filepath.Join(m.data, "sweepd.db") }

// copy writes a file over another, or makes it.
func (m *machine) copy(from, to string) error {
	data, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, data, 0o644)
	}
	return err
}

// agentWithBackup is an agent whose data file has grown since a copy of it was made,
// which had one run of tile-sort.
func (m *machine) agentWithBackup() *agent {
	m.t.Helper()
	m.mustRun("import", m.write("one.csv", "device,workload,setting_w,score\nunit-oak,tile-sort,15,7\n"))
	if err := m.copy(m.database(), m.path("backup")); err != nil {
		m.t.Fatal(err)
	}
	text := "device,workload,setting_w,score\n"
	for i := range 2000 {
		text += fmt.Sprintf("unit-oak,later,%d,%d\n", 5+i%20, i)
	}
	m.mustRun("import", m.write("many.csv", text))
	return m.agent()
}

// away is a row that takes the data away from a running agent: nothing is acknowledged
// until it is back.
func away(fault string, take, back func(m *machine) error) attack {
	expected := "start, stop and setting are refused and logged"
	if back != nil {
		expected += "; when it is back, all goes on"
	}
	return attack{fault: fault, expected: expected, try: func(t *testing.T, m *machine) string {
		a := m.agentWithBackup()
		m.mustRun("run", "start", "--workload", "harbour-flight")
		if err := take(m); err != nil {
			t.Fatal(err)
		}
		m.eventually("the agent notices", func() bool { return strings.Contains(a.log.String(), "while it was open") })
		seen := ""
		for _, act := range [][]string{{"setting", "15W"}, {"run", "stop", "--result", "fps=61"}, {"run", "start", "--workload", "tile-sort"}} {
			o := m.run(act...)
			if o.code != 1 || !strings.Contains(o.stderr, "while it was open") {
				t.Errorf("%v: exit %d, %s%s", act, o.code, o.stdout, o.stderr)
			}
			seen = firstWords(o.stderr)
		}
		if back == nil {
			a.kill() // an orderly end has nothing to store to, and says so
			return seen
		}
		if err := back(m); err != nil {
			t.Fatal(err)
		}
		m.mustRun("run", "start", "--workload", "tile-sort")
		m.mustRun("run", "stop", "--result", "score=8")
		return "refused; back, it goes on"
	}}
}

// firstWords is the beginning of a sentence.
func firstWords(text string) string {
	words := strings.Fields(text)
	return strings.Join(words[:min(len(words), 14)], " ")
}
