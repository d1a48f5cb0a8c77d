package attacks

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// watched are commands under `run watch` that end badly, and stops of the wrong run.
var watched = []attack{
	watchEndedBy("12 SIGHUP to run watch", unix.SIGHUP),
	watchEndedBy("12 SIGINT to run watch", unix.SIGINT),
	watchEndedBy("12 SIGQUIT to run watch", unix.SIGQUIT),
	watchEndedBy("12 SIGTERM to run watch", unix.SIGTERM),
	{
		fault:    "12 run watch is killed with SIGKILL",
		expected: "the agent ends the run by itself, with a finding",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			w := m.watch(nil, "sh", "-c", "echo $$ >pid; exec sleep 300")
			defer func() { syscall.Kill(m.number("pid"), syscall.SIGKILL) }()
			m.number("pid")
			w.Process.Kill()
			return m.failure("sweepd run watch ended without stopping the run")
		},
	},
	{
		fault:    "12 the reader of the watched command's output leaves",
		expected: "the command and the run end, with a finding",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			r, theirs, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			m.watch(theirs, "sh", "-c", "echo $$ >pid; while :; do echo line; sleep 0.01; done")
			theirs.Close()
			if _, err := r.Read(make([]byte, 1)); err != nil {
				t.Error(err)
			}
			r.Close()
			seen := m.failure("broken pipe")
			m.gone("pid")
			return seen
		},
	},
	{
		fault:    "12 somebody ends the watched run and starts another",
		expected: "the other goes on unlabelled; the watch says where its run stands",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			script := program + ` run stop && ` + program + ` run start --workload other && echo "score 7"; exit 3`
			o := m.run("run", "watch", "--workload", "tile-sort", "--result-from", "score=score ([0-9]+)", "--", "sh", "-c", script)
			runs := m.runs()
			if len(runs) != 2 || runs[1].State != "recording" || runs[1].Workload != "other" || runs[0].State != "finished" || len(runs[0].Results)+len(runs[0].Findings.of("command_failed"))+len(runs[1].Findings.of("command_failed")) != 0 {
				t.Errorf("%+v", runs)
			}
			want := "; no run was stopped or changed now; if the command's results count for it, add them with `sweepd run result " + runs[0].ID[len(runs[0].ID)-8:]
			if o.code != 1 || !strings.Contains(o.stderr, "somebody else stopped it after") || !strings.Contains(o.stderr, want) {
				t.Errorf("exit %d: %s", o.code, o.stderr)
			}
			return "exit 1, the other run is recording, the result is offered"
		},
	},
	{
		fault:    "12 a background child of the watched command holds its output",
		expected: "the run ends with the command; what is printed shortly after counts; the child is ended",
		try: func(t *testing.T, m *machine) string {
			a := m.agent()
			c := m.command("run", "watch", "--workload", "tile-sort", "--result-from", "score=score ([0-9]+)", "--", "sh", "-c",
				"(until [ -e stopped ]; do sleep 0.01; done; echo score 7; exec sleep 300) & echo $! >pid")
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			late := time.AfterFunc(3*deadline, func() { c.Process.Kill() })
			m.number("pid")
			m.eventually("the run ends with the command", func() bool { return !strings.Contains(a.get("/api/v1/status"), `"recording":{`) })
			m.write("stopped", "")
			c.Wait()
			if !late.Stop() || c.ProcessState.ExitCode() != 0 {
				t.Errorf("run watch: %v", c.ProcessState)
			}
			m.gone("pid")
			r := m.runs()[0]
			if r.State != "finished" || r.Results["score"].Value != 7 {
				t.Errorf("%+v", r)
			}
			return fmt.Sprintf("a run of %.0f s with its result", r.DurationS)
		},
	},
	{
		fault:    "12 the watched command fails, is ended by a signal, is none",
		expected: "command_failed with status or signal; without a command no run",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			for script, want := range map[string]string{"exit 3": `command "sh": exit status 3`, "kill -SEGV $$": "SIGSEGV"} {
				o := m.run("run", "watch", "--workload", "tile-sort", "--", "sh", "-c", script)
				if o.code != 1 || !strings.Contains(o.stderr, want) {
					t.Errorf("%s: exit %d, %s", script, o.code, o.stderr)
				}
				m.failure(want)
			}
			m.write("plain", "echo")
			for _, none := range []string{"./no-such", "no-such-program", "./plain", "/"} {
				if o := m.run("run", "watch", "--workload", "none", "--", none); o.code != 1 || !strings.Contains(o.stderr, "so no run was") {
					t.Errorf("%s: exit %d, %s", none, o.code, o.stderr)
				}
			}
			if n := len(m.runs()); n != 2 {
				t.Errorf("%d runs", n)
			}
			return "exit status 3, SIGSEGV; no run"
		},
	},
	{
		fault:    "12 a watched command reads the terminal, is stopped with Ctrl-Z, continued and ended with Ctrl-C",
		expected: "it reads, stops and goes on with the watch, and ends by SIGINT",
		try:      watchOnATerminal,
	},
	{
		fault:    "12 a stop names another run, is repeated, or has a note of 5,000 bytes",
		expected: "no other run is stopped; a repeated stop is done already; 400",
		try: func(t *testing.T, m *machine) string {
			a := m.agent()
			m.mustRun("run", "start", "--workload", "tile-sort")
			first := m.runs()[0].ID
			post := func(want int, body string) {
				t.Helper()
				resp, err := http.Post(a.url+"/api/v1/runs/stop", "application/json", strings.NewReader(body))
				if err != nil {
					t.Fatal(err)
				}
				defer resp.Body.Close()
				if text, _ := io.ReadAll(resp.Body); resp.StatusCode != want {
					t.Errorf("%.60s: %d %s", body, resp.StatusCode, text)
				}
			}
			post(400, `{"note":"`+strings.Repeat("x", 5000)+`"}`)
			if o := m.run("run", "stop", ""); o.code != 2 {
				t.Errorf("an empty id: exit %d, %s", o.code, o.stderr)
			}
			for range 2 {
				post(200, `{"run":"`+first+`","results":{"fps":{"value":60}}}`)
			}
			m.mustRun("run", "start", "--workload", "other")
			m.mustRun("run", "stop", first[len(first)-8:], "--result", "score=7")
			runs := m.runs()
			if runs[1].State != "recording" || len(runs[1].Results) != 0 || runs[0].State != "finished" || runs[0].Results["fps"].Value != 60 || runs[0].Results["score"].Value != 7 {
				t.Errorf("%+v", runs)
			}
			return "400; the run is finished once, with all results; the other is recording"
		},
	},
}

// watchEndedBy sends a signal to `run watch` whose command has a child of its own.
func watchEndedBy(fault string, s unix.Signal) attack {
	return attack{
		fault:    fault,
		expected: "command, its children and the run end, with a finding",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			if signal.Ignored(s) { // as by nohup; run watch would leave it so
				caught := make(chan os.Signal, 1) // what is caught here is as usual in a new process
				signal.Notify(caught, s)
				defer signal.Stop(caught)
			}
			w := m.watch(nil, "sh", "-c", "sh -c 'echo $$ >child; exec sleep 300' & echo $$ >pid; wait")
			m.number("child")
			m.number("pid")
			w.Process.Signal(s)
			seen := m.failure("run watch was ended by a signal (" + s.String() + ")")
			m.gone("pid")
			m.gone("child")
			if w.Wait(); w.ProcessState.ExitCode() != 1 {
				t.Errorf("exit %v", w.ProcessState)
			}
			return seen
		},
	}
}

// watch starts `run watch` around a command; nil is for output that nobody wants.
func (m *machine) watch(out *os.File, command ...string) *exec.Cmd {
	m.t.Helper()
	c := m.command(append([]string{"run", "watch", "--workload", "tile-sort", "--"}, command...)...)
	if out != nil {
		c.Stdout = out
	}
	if err := c.Start(); err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	return c
}

// number waits until a file has a line and returns the number in it.
func (m *machine) number(file string) (n int) {
	m.t.Helper()
	m.eventually(file+" is written", func() bool {
		text, _ := os.ReadFile(filepath.Join(m.dir, file)) // not there at first
		line, _, ended := strings.Cut(string(text), "\n")
		n, _ = strconv.Atoi(line)
		return ended && n > 0
	})
	return n
}

// gone waits for the end of a process that wrote its number to a file.
func (m *machine) gone(file string) {
	m.t.Helper()
	pid := m.number(file)
	m.eventually("the process of "+file+" is gone", func() bool { return syscall.Kill(pid, 0) == syscall.ESRCH || m.zombie(pid) })
}

// zombie tells a process that ended and that nobody has waited for.
func (m *machine) zombie(pid int) bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	return err != nil || bytes.Contains(stat, []byte(") Z "))
}

// seenRun is a run in `run list --json`.
type seenRun struct {
	ID        string
	Workload  string
	State     string
	DurationS float64 `json:"duration_s"`
	Results   map[string]struct{ Value float64 }
	Findings  seenFindings
}

type seenFindings []struct{ Code, Text string }

// of are the texts of one kind.
func (f seenFindings) of(code string) (texts []string) {
	for _, x := range f {
		if x.Code == code {
			texts = append(texts, x.Text)
		}
	}
	return texts
}

// runs are those in the data folder, the newest last.
func (m *machine) runs() (list []seenRun) {
	m.t.Helper()
	if err := json.Unmarshal([]byte(m.mustRun("run", "list", "--json").stdout), &list); err != nil {
		m.t.Fatal(err)
	}
	return list
}

// failure waits until the newest run has ended, and returns what its finding
// command_failed says, which must hold a text.
func (m *machine) failure(want string) string {
	m.t.Helper()
	var newest seenRun
	m.eventually("the run ends", func() bool {
		list := m.runs()
		newest = list[len(list)-1]
		return newest.State != "recording"
	})
	texts := strings.Join(newest.Findings.of("command_failed"), "; ")
	if newest.State != "finished" || !strings.Contains(texts, want) {
		m.t.Errorf("%+v, want a finding with %q", newest, want)
	}
	return texts
}

// watchOnATerminal plays a person at a terminal (pty(7)) with a shell that has job
// control.
func watchOnATerminal(t *testing.T, m *machine) string {
	if _, err := exec.LookPath("bash"); err != nil {
		t.Skip("no bash")
	}
	m.agent()
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Skip("no terminals here: ", err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err == nil {
		err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0)
	}
	if err != nil {
		t.Fatal(err)
	}
	ours := os.NewFile(uintptr(fd), "ptmx")
	defer ours.Close()
	theirs, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer theirs.Close()
	c := m.command()
	c.Path, c.Args = "/bin/bash", []string{"bash", "--norc", "--noprofile", "-i"}
	c.Stdin, c.Stdout, c.Stderr = theirs, theirs, theirs
	c.Env = append(c.Env, "PS1=prompt-$?: ", "TERM=dumb")
	c.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { c.Process.Kill(); c.Wait() }()
	screen := &log{}
	go io.Copy(screen, ours)
	read := 0 // of what is shown
	step := func(text, want string) {
		t.Helper()
		io.WriteString(ours, text)
		m.eventually(fmt.Sprintf("after %q %q is shown", text, want), func() bool {
			at := strings.Index(screen.String()[read:], want)
			if at >= 0 {
				read += at + len(want)
			}
			return at >= 0
		})
	}
	defer func() {
		if t.Failed() {
			t.Log(screen)
		}
	}()
	step("", "prompt-0: ")
	step(program+` run watch --workload tile-sort -- sh -c 'echo go; read a; echo got $a; read b; echo had $b; sleep 300'`+"\n", "go\r\n")
	step("one\n", "got one")
	step("\x1a", "Stopped")
	step("echo at the shell\n", "\nat the shell")
	step("fg\n", "sh -c")
	step("two\n", "had two")
	step("\x03", "prompt-1: ")
	return m.failure("SIGINT")
}
