package attacks

import (
	"bytes"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// tableOfOne is a table with one run.
const tableOfOne = "device,workload,setting_w,fps\nunit-oak,harbour-flight,15,60\n"

// files are the attacks by what a person names as a file to write or to read.
var files = append([]attack{{
	fault:    "1 export --out a pipe, whose reader waits",
	expected: "the reader gets the table, and the pipe stays one",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.pipe("out")
		read := make(chan []byte, 1)
		go func() {
			text, _ := os.ReadFile(m.path("out"))
			read <- text
		}()
		m.mustRun("export", "--as", "csv", "--out", "out")
		if text := <-read; !bytes.Contains(text, []byte("unit-oak")) {
			t.Errorf("the reader got %q", text)
		}
		return "the reader got the table; the pipe is " + m.kind("out", fs.ModeNamedPipe)
	},
}, {
	fault:    "1 export --out a pipe that nobody reads, until SIGTERM",
	expected: "a sentence and exit 1, and the pipe stays one",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.pipe("out")
		for after := 50 * time.Millisecond; ; after *= 2 {
			waiting := m.command("export", "--as", "csv", "--out", "out")
			var said bytes.Buffer
			waiting.Stderr = &said
			if err := waiting.Start(); err != nil {
				t.Fatal(err)
			}
			time.Sleep(after) // nothing shows from outside when it listens for signals
			waiting.Process.Signal(syscall.SIGTERM)
			waiting.Wait()
			if ended := waiting.ProcessState.Sys().(syscall.WaitStatus); ended.Signaled() && after < 5*time.Second {
				continue // it did not listen yet
			}
			if waiting.ProcessState.ExitCode() != 1 || !strings.Contains(said.String(), "nobody reads from it") {
				t.Errorf("%v: %s", waiting.ProcessState, said.String())
			}
			break
		}
		return "exit 1, \"nobody reads from it\"; the pipe is " + m.kind("out", fs.ModeNamedPipe)
	},
}, {
	fault:    "1 export --out a link to a file of mode 0600, and to none",
	expected: "the targets hold the table, 0600 stays, the links stay",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.write("target", "old")
		for _, err := range []error{os.Chmod(m.path("target"), 0o600), os.Symlink("target", m.path("link")), os.Symlink("made", m.path("dangling"))} {
			if err != nil {
				t.Fatal(err)
			}
		}
		for link, target := range map[string]string{"link": "target", "dangling": "made"} {
			m.mustRun("export", "--as", "csv", "--out", link)
			m.kind(link, fs.ModeSymlink)
			m.contains(target, "unit-oak")
		}
		info, err := os.Stat(m.path("target"))
		if err != nil || info.Mode() != 0o600 {
			t.Errorf("the target has %v, %v", info.Mode(), err)
		}
		return "both targets hold the table, mode 0600 stayed, both are links still"
	},
}, {
	fault:    "1 export --out /dev/null, /dev/full and /dev/stdout",
	expected: "the devices stay, /dev/full is an error, output goes on where it stands",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.mustRun("export", "--as", "csv", "--out", "/dev/null")
		if o := m.run("export", "--as", "csv", "--out", "/dev/full"); o.code != 1 || !strings.Contains(o.stderr, "no space left") {
			t.Errorf("/dev/full: exit %d, %s", o.code, o.stderr)
		}
		if o := m.mustRun("export", "--as", "csv", "--out", "/dev/stdout"); !strings.Contains(o.stdout, "unit-oak") {
			t.Errorf("standard output got %q", o.stdout)
		}
		for _, device := range []string{"/dev/null", "/dev/full"} {
			if info, err := os.Stat(device); err != nil || info.Mode()&fs.ModeCharDevice == 0 {
				t.Errorf("%s is %v, %v", device, info, err)
			}
		}
		return "the devices are devices, /dev/full: exit 1, the table came to standard output"
	},
}, {
	fault:    "1 export --out the data file, a folder, a loop of links",
	expected: "a sentence and exit 1, and the runs are there",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		if err := os.Symlink("loop", m.path("loop")); err != nil {
			t.Fatal(err)
		}
		for out, want := range map[string]string{filepath.Join(m.data, "sweepd.db"): "data file", m.data: "is a folder", "loop": "too many levels"} {
			if o := m.run("export", "--as", "csv", "--out", out); o.code != 1 || !strings.Contains(o.stderr, want) {
				t.Errorf("%s: exit %d, %s", out, o.code, o.stderr)
			}
		}
		if list := m.mustRun("run", "list").stdout; !strings.Contains(list, "harbour-flight") {
			t.Errorf("the run is gone: %s", list)
		}
		return "refused, each with its sentence; the run is there"
	},
}, {
	fault:    "9 report.html.new is a link to somebody's file, report.html one to a page of mode 0600",
	expected: "the file stays as it was; the page is replaced where it lies, with its mode",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.write("victim", "mine")
		m.mustRun("report", "--out", "report")
		for _, err := range []error{
			os.Symlink("../victim", m.path("report/report.html.new")),
			os.Rename(m.path("report/report.html"), m.path("page")), os.Chmod(m.path("page"), 0o600),
			os.Symlink("../page", m.path("report/report.html")),
		} {
			if err != nil {
				t.Fatal(err)
			}
		}
		m.mustRun("report", "--out", "report")
		m.contains("victim", "mine")
		m.kind("report/report.html", fs.ModeSymlink)
		if info, err := os.Stat(m.path("page")); err != nil || info.Mode() != 0o600 {
			t.Errorf("the page is %v, %v", info, err)
		}
		return "the file is as it was; the page was replaced behind its link, mode 0600"
	},
}, {
	fault:    "9 another user plants links where everybody may write: the output, the charts, the data file, the configuration",
	expected: "none is followed, each with a sentence",
	try: func(t *testing.T, m *machine) string {
		if os.Geteuid() != 0 {
			return "not tried: only root can plant what is another user's"
		}
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.write("victim", "mine")
		m.write("configuration", "device: unit-elm\n")
		for _, dir := range []string{"open", "open/report", "victims"} {
			if err := os.Mkdir(m.path(dir), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(m.path(dir), 0o777); err != nil {
				t.Fatal(err)
			}
		}
		for link, target := range map[string]string{"out": "../victim", "report/charts": "../../victims", "report/report.html": "../../victim",
			"folder": "../victims", "sweepd.db": "../victim", "sweepd.yaml": "../configuration"} {
			if err := os.Symlink(target, m.path("open/"+link)); err != nil {
				t.Fatal(err)
			}
			if err := os.Lchown(m.path("open/"+link), 65534, 65534); err != nil {
				t.Fatal(err)
			}
		}
		for _, line := range []string{"export --as csv --out open/out", "report --out open/report", "report --out open/folder", "export --as csv --out open/folder/x",
			"import --data open one.csv", "run list --config open/sweepd.yaml"} {
			if o := m.run(strings.Fields(line)...); o.code != 1 || !strings.Contains(o.stderr, "belongs to another user") {
				t.Errorf("%s: exit %d, %s%s", line, o.code, o.stdout, o.stderr)
			}
		}
		m.contains("victim", "mine")
		if left, err := os.ReadDir(m.path("victims")); err != nil || len(left) > 0 {
			t.Errorf("made in the other folder: %v, %v", left, err)
		}
		return "refused, all of them; nothing was written"
	},
}, {
	fault:    "14 merge of a pipe, --data a pipe, whose writer never comes",
	expected: "exit 1 with a sentence",
	try: func(t *testing.T, m *machine) string {
		m.mustRun("import", m.write("one.csv", tableOfOne))
		m.pipe("pipe.db")
		for _, line := range []string{"merge pipe.db", "run list --data pipe.db", "import one.csv --data pipe.db"} {
			if o := m.run(strings.Fields(line)...); o.code != 1 || !strings.Contains(o.stderr, "pipe.db is no regular file") {
				t.Errorf("%s: exit %d, %s", line, o.code, o.stderr)
			}
		}
		return "refused: no regular file"
	},
}, {
	fault:    "14 bodies of 1 MB and of 60,000 brackets to the API",
	expected: "413 and 400, in no memory to speak of",
	try: func(t *testing.T, m *machine) string {
		a := m.agent()
		for body, want := range map[string]int{`{"workload":"` + strings.Repeat("x", 1<<20) + `"}`: 413, `{"workload":` + strings.Repeat("[", 60_000): 400} {
			resp, err := http.Post(a.url+"/api/v1/runs/start", "application/json", strings.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			if resp.StatusCode != want {
				t.Errorf("%d bytes: %s, want %d", len(body), resp.Status, want)
			}
		}
		a.stop()
		if peak := a.cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss; peak > mostKB {
			t.Errorf("the agent took %d kB", peak)
		}
		return "413 and 400"
	},
}}, inputs...)

// mostKB and longest bound what a command takes for a file that it refuses. The
// memory counted is at least that of the test, which is the process before it.
const (
	mostKB  = 256 << 10
	longest = 4 * time.Second
)

// inputs are files that would take gigabytes or for ever.
var inputs = func() (list []attack) {
	for _, c := range []struct {
		what, file    string
		text          func() string
		command, want string
	}{
		{"a plan of 200 kB of brackets", "plan.yaml", func() string { return "workloads: " + strings.Repeat("[", 200_000) }, "plan new plan.yaml", "more than 64 KiB"},
		{"a plan of 60 kB of brackets", "plan.yaml", func() string { return "workloads: " + strings.Repeat("[", 60_000) }, "plan new plan.yaml", "line 1, column 27: \"[\": lists and sections lie in one another more than 16 deep"},
		{"a plan of 30,000 dashes", "plan.yaml", func() string { return strings.Repeat("- ", 30_000) }, "plan new plan.yaml", "more than 16 deep"},
		{"a configuration of copies of copies of copies", "sweepd.yaml", laughs, "run list --config sweepd.yaml", "line 2, column 3: an anchor may stand for one text or number only"},
		{"--config /dev/zero", "", nil, "run list --config /dev/zero", "more than 64 KiB"},
		{"plan new /dev/zero", "", nil, "plan new /dev/zero", "more than 64 KiB"},
		{"import /dev/zero", "", nil, "import /dev/zero", "more than 1048576 bytes"},
		{"--web.config.file /dev/zero", "", nil, "agent --listen 127.0.0.1:0 --web.config.file /dev/zero", "more than 64 KiB"},
		{"--frames of /dev/zero", "", nil, "run result last --frame-unit ms --frames /dev/zero", "longer than 1048576 bytes"},
		{"--frames of a folder", "", nil, "run result last --frame-unit ms --frames .", "it is a folder"},
		{"a table of 100,000 columns", "wide.csv", func() string { return "device,workload" + numbered(100_000) }, "import wide.csv", "more than 1000 columns"},
		{"a table of 1,000,000 columns", "wide.csv", func() string { return "device,workload" + numbered(1_000_000) }, "import wide.csv", "more than 1048576 bytes"},
		{"a plan's table of 100,000 columns", "wide.csv", func() string { return "device,workload" + numbered(100_000) }, "plan new wide.csv", "more than 1000 columns"},
		{"a table with a quote that does not end, 16 MB", "quote.csv", func() string { return "device,workload,note\nunit-oak,tile-sort,\"" + strings.Repeat("x\n", 8<<20) }, "import quote.csv", "is a quote missing"},
		{"a table of 5,000,001 rows", "long.csv", func() string { return "device,workload\n" + strings.Repeat("a,b\n", 5_000_001) }, "import long.csv", "more than 5000000 rows"},
	} {
		list = append(list, attack{
			fault:    "14 " + c.what,
			expected: fmt.Sprintf("exit 1 with the bound, below %d MB and %v", mostKB>>10, longest),
			try: func(t *testing.T, m *machine) string {
				m.mustRun("import", m.write("one.csv", tableOfOne))
				if c.file != "" {
					m.write(c.file, c.text())
				}
				o := m.run(strings.Fields(c.command)...)
				if o.code != 1 || !strings.Contains(o.stderr, c.want) || len(o.stderr) > 600 {
					t.Errorf("exit %d, want 1 and %q: %s", o.code, c.want, o.stderr)
				}
				if o.peakKB > mostKB || o.took > longest {
					t.Errorf("took %d kB, %v", o.peakKB, o.took)
				}
				return fmt.Sprintf("exit 1, \"%s\", %d MB", c.want, o.peakKB>>10)
			},
		})
	}
	return list
}()

// laughs is a list of 9^10 texts in ten lines: each is nine times the one before.
func laughs() string {
	text := "lower:\n- &a0 [x,x,x,x,x,x,x,x,x]\n"
	for i := range 9 {
		text += fmt.Sprintf("- &a%d [%s]\n", i+1, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*a%d,", i), 9), ","))
	}
	return text
}

// numbered are n more names of columns, and the line's end.
func numbered(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, ",r%d", i)
	}
	return b.String() + "\n"
}

func (m *machine) pipe(name string) {
	m.t.Helper()
	if err := syscall.Mkfifo(m.path(name), 0o600); err != nil {
		m.t.Fatal(err)
	}
}

// kind checks that a file is of a kind, and says that it is.
func (m *machine) kind(name string, want fs.FileMode) string {
	m.t.Helper()
	info, err := os.Lstat(m.path(name))
	if err != nil || info.Mode().Type() != want {
		m.t.Errorf("%s is %v, %v; want %v", name, info, err, want)
	}
	return "one still"
}

func (m *machine) contains(name, want string) {
	m.t.Helper()
	if text, err := os.ReadFile(m.path(name)); err != nil || !strings.Contains(string(text), want) {
		m.t.Errorf("%s holds %q, %v; want %q", name, text, err, want)
	}
}
