package attacks

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
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
		expected += "; when it is back, all goes on, and the run that was stopped is stored"
	}
	return attack{fault: fault, expected: expected, try: func(t *testing.T, m *machine) string {
		a := m.agentWithBackup()
		defer func() {
			if t.Failed() {
				t.Log(a.log)
			}
		}()
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
		m.wantKept("finished", `"value": 61`)
		if list := m.list(); strings.Contains(list, "kept_in") {
			t.Errorf("the run that ended meanwhile is not stored: %s", list)
		}
		return "refused; back, it goes on"
	}}
}

// firstWords is the beginning of a sentence.
func firstWords(text string) string {
	words := strings.Fields(text)
	return strings.Join(words[:min(len(words), 14)], " ")
}

// unstored is what becomes of a run that ends while nothing can be stored. Another
// program's lock takes the program ten seconds to give up on: it is no row.
var unstored = []attack{
	{
		fault:    "2 the disk is full at a stop, then has room again",
		expected: "exit 1 and kept; finished in list and status; no start; a result goes to it; then stored by itself, whole",
		try: func(t *testing.T, m *machine) string {
			a := m.fullAtStop()
			if o := m.run("run", "start", "--workload", "tile-sort"); o.code != 1 || !strings.Contains(o.stderr, "not stored yet either") {
				t.Errorf("a start: exit %d, %s%s", o.code, o.stdout, o.stderr)
			}
			// The command itself has room.
			if o := m.mustRun("run", "result", "last", "score=7"); !strings.Contains(o.stdout, "finished, not stored") {
				t.Errorf("a result: %s", o.stdout)
			}
			m.wantKept("finished", `"kept_in": "journal"`, `"value": 61`, `"value": 7`)
			a.limitFiles(unix.RLIM_INFINITY)
			m.eventually("the run is stored", func() bool { return !strings.Contains(m.list(), "kept_in") })
			m.wantKept("finished", `"value": 61`, `"value": 7`)
			m.mustRun("run", "start", "--workload", "tile-sort")
			m.mustRun("run", "stop", "--result", "score=8")
			return "exit 1, kept, stored by itself"
		},
	},
	{
		fault:    "2 the disk is full at a stop, the stop is repeated once there is room",
		expected: "exit 0, with the results of both",
		try: func(t *testing.T, m *machine) string {
			a := m.fullAtStop()
			a.limitFiles(unix.RLIM_INFINITY)
			o := m.mustRun("run", "stop", "--result", "score=7")
			m.wantKept("finished", `"value": 61`, `"value": 7`)
			return firstWords(o.stdout)
		},
	},
	{
		fault:    "2 the disk is full at a stop, the agent is killed",
		expected: "the next agent stores it, finished and with its result, from the journal",
		try: func(t *testing.T, m *machine) string {
			m.fullAtStop().kill()
			m.agent()
			m.wantKept("finished", `"value": 61`)
			return "finished, with its result"
		},
	},
	{
		fault:    "2 the disk is full at a stop, the agent is told to end",
		expected: "it says that it could not store the run; the next agent does",
		try: func(t *testing.T, m *machine) string {
			a := m.fullAtStop()
			a.stop()
			if code := a.cmd.ProcessState.ExitCode(); code != 1 || !strings.Contains(a.log.String(), "is not stored yet") {
				t.Errorf("it ended with %d: %s", code, a.log)
			}
			m.agent()
			m.wantKept("finished", `"value": 61`)
			return "exit 1; then finished, with its result"
		},
	},
	{
		fault:    "2 the agent is told to end while a run is recording and the disk is full",
		expected: "the next agent stores it as interrupted",
		try: func(t *testing.T, m *machine) string {
			a := m.agent()
			m.mustRun("run", "start", "--workload", "harbour-flight")
			a.limitFiles(m.logSize())
			a.stop()
			m.agent()
			m.wantKept("interrupted")
			return "interrupted"
		},
	},
	{
		fault:    "2 the journal is cut off in its entry",
		expected: "the next agent says so and keeps what is stored, as interrupted",
		try: func(t *testing.T, m *machine) string {
			m.fullAtStop().kill()
			path := filepath.Join(m.data, "agent.journal")
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			used := len(strings.TrimRight(string(text), "\x00"))
			if err := os.WriteFile(path, text[:used-40], 0o644); err != nil {
				t.Fatal(err)
			}
			a := m.agent()
			if !strings.Contains(a.log.String(), "entries of the journal are torn or damaged") {
				t.Errorf("it is not said: %s", a.log)
			}
			m.eventually("the run is judged", func() bool { return !strings.Contains(m.list(), `"recording"`) })
			m.wantKept("interrupted")
			return "said; interrupted"
		},
	},
	{
		fault:    "2, 9 the journal is a link to another file",
		expected: "not followed; said; the agent goes on without",
		try: func(t *testing.T, m *machine) string {
			target := m.write("target", "mine")
			if err := os.Mkdir(m.data, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(target, filepath.Join(m.data, "agent.journal")); err != nil {
				t.Fatal(err)
			}
			a := m.agent()
			m.mustRun("run", "start", "--workload", "tile-sort")
			m.mustRun("run", "stop", "--result", "score=8")
			a.stop()
			text, err := os.ReadFile(target)
			if err != nil || string(text) != "mine" || !strings.Contains(a.log.String(), "in memory only") {
				t.Errorf("target %q, %v: %s", text, err, a.log)
			}
			return "said, target untouched"
		},
	},
}

// fullAtStop is an agent whose run has ended with fps=61 on a full disk.
func (m *machine) fullAtStop() *agent {
	m.t.Helper()
	a := m.agent()
	m.mustRun("run", "start", "--workload", "harbour-flight")
	a.limitFiles(m.logSize())
	o := m.run("run", "stop", "--result", "fps=61")
	if o.code != 1 || !strings.Contains(o.stderr, "is not stored yet: it is kept with its results in the journal") {
		m.t.Fatalf("a stop that cannot be stored: exit %d, %s%s", o.code, o.stdout, o.stderr)
	}
	m.wantKept("finished", `"kept_in": "journal"`, `"value": 61`)
	return a
}

// limitFiles lets the agent write no file beyond a size, like a disk that is full.
func (a *agent) limitFiles(size uint64) {
	a.m.t.Helper()
	if err := unix.Prlimit(a.cmd.Process.Pid, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: size, Max: unix.RLIM_INFINITY}, nil); err != nil {
		a.m.t.Fatal(err)
	}
}

// logSize is the size of the write-ahead log, which every write goes to the end of.
func (m *machine) logSize() uint64 {
	m.t.Helper()
	info, err := os.Stat(m.database() + "-wal")
	if err != nil || info.Size() == 0 {
		m.t.Fatalf("no log: %v", err)
	}
	return uint64(info.Size())
}

func (m *machine) list() string {
	m.t.Helper()
	return m.mustRun("run", "list", "--json").stdout
}

// wantKept wants one run of harbour-flight in this state, and this in the list.
func (m *machine) wantKept(state string, parts ...string) {
	m.t.Helper()
	list := m.list()
	for _, want := range append(parts, `"harbour-flight"`, `"state": "`+state+`"`) {
		if !strings.Contains(list, want) {
			m.t.Errorf("the list lacks %s: %s", want, list)
		}
	}
	if n := strings.Count(list, `"harbour-flight"`); n != 1 {
		m.t.Errorf("%d runs, want 1: %s", n, list)
	}
}
