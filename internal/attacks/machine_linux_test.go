package attacks

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"sweepd/internal/built"
	"sweepd/internal/simdevice"
)

// deadline is for conditions that hold within milliseconds unless something is
// wrong.
const deadline = 20 * time.Second

// program is the built program, the same that is shipped but for its name.
var program string

func TestMain(m *testing.M) { os.Exit(built.Run(m, &program)) }

// machine is where one attack happens: a folder of its own with a data folder in
// it, and on demand a simulated handheld and an agent.
type machine struct {
	t         *testing.T
	dir, data string
	env       []string // added to that of the program
}

func newMachine(t *testing.T) *machine {
	dir := t.TempDir()
	return &machine{t: t, dir: dir, data: filepath.Join(dir, "data"),
		env: []string{"SWEEPD_AGENT=http://127.0.0.1:1", "HOME=" + dir}}
}

// path is a file in the machine's folder.
func (m *machine) path(name string) string { return filepath.Join(m.dir, name) }

// write makes a file in the machine's folder and returns its path.
func (m *machine) write(name, text string) string {
	m.t.Helper()
	if err := os.WriteFile(m.path(name), []byte(text), 0o644); err != nil {
		m.t.Fatal(err)
	}
	return m.path(name)
}

// device is a simulated handheld that lives along with the clock; the programs
// that are started after it read its files.
func (m *machine) device() *simdevice.Device { return m.deviceOf(simdevice.UnitOak()) }

func (m *machine) deviceOf(cfg simdevice.Config) *simdevice.Device {
	m.t.Helper()
	d, err := simdevice.New(m.path("device"), cfg, time.Now())
	if err != nil {
		m.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.AdvanceWithClock(ctx, 20*time.Millisecond, time.Now) }()
	m.t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil && !errors.Is(err, context.Canceled) {
			m.t.Error(err)
		}
		d.Close()
	})
	m.env = append(m.env, d.Environ()...)
	return d
}

// command is the program with its arguments, not yet started; its data folder is
// the machine's. It leads a process group of its own, as from a shell.
func (m *machine) command(args ...string) *exec.Cmd {
	c := exec.Command(program, args...)
	c.Dir = m.dir
	c.Env = append(append(os.Environ(), "SWEEPD_DATA="+m.data), m.env...)
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	return c
}

// outcome is what a command printed and how it ended.
type outcome struct {
	code           int // -1: by a signal
	stdout, stderr string
	took           time.Duration
	peakKB         int64 // of resident memory
}

// run runs the program to its end, or fails the test after a deadline.
func (m *machine) run(args ...string) outcome {
	m.t.Helper()
	c := m.command(args...)
	var out, err bytes.Buffer
	c.Stdout, c.Stderr = &out, &err
	c.WaitDelay = deadline
	began := time.Now()
	if err := c.Start(); err != nil {
		m.t.Fatal(err)
	}
	late := time.AfterFunc(deadline, func() { syscall.Kill(-c.Process.Pid, syscall.SIGKILL) })
	c.Wait()
	o := outcome{c.ProcessState.ExitCode(), out.String(), err.String(), time.Since(began), c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss}
	if !late.Stop() {
		m.t.Fatalf("sweepd %s: not ended within %v\n%s%s", strings.Join(args, " "), deadline, o.stdout, o.stderr)
	}
	return o
}

// mustRun is run for what must succeed.
func (m *machine) mustRun(args ...string) outcome {
	m.t.Helper()
	o := m.run(args...)
	if o.code != 0 {
		m.t.Fatalf("sweepd %s: exit %d\n%s%s", strings.Join(args, " "), o.code, o.stdout, o.stderr)
	}
	return o
}

// agent is a running `sweepd agent`.
type agent struct {
	m    *machine
	cmd  *exec.Cmd
	url  string
	log  *log
	done chan struct{}
}

var address = regexp.MustCompile(`"address":"([^",]+)`)

// agent starts an agent on the machine's data folder and waits until it listens;
// the programs that are started after it find it. It ends with the test.
func (m *machine) agent(args ...string) *agent {
	m.t.Helper()
	a := m.tryAgent(m.command(append([]string{"agent", "--listen", "127.0.0.1:0"}, args...)...))
	if a.url == "" {
		m.t.Fatalf("the agent does not listen: %v\n%s", a.cmd.ProcessState, a.log)
	}
	return a
}

// tryAgent is agent for a command that the row has prepared (limits, other
// flags); its url is empty where it ended before it listened.
func (m *machine) tryAgent(c *exec.Cmd) *agent {
	m.t.Helper()
	a := &agent{m: m, cmd: c, log: &log{}, done: make(chan struct{})}
	c.Stdout, c.Stderr = a.log, a.log
	c.WaitDelay = deadline
	if err := c.Start(); err != nil {
		m.t.Fatal(err)
	}
	go func() { defer close(a.done); c.Wait() }()
	m.t.Cleanup(a.stop)
	m.eventually("the agent listens or ends", func() bool {
		if found := address.FindStringSubmatch(a.log.String()); found != nil {
			a.url = "http://" + found[1]
			return true
		}
		return a.ended()
	})
	if a.url != "" {
		m.env = append(m.env, "SWEEPD_AGENT="+a.url)
	}
	return a
}

func (a *agent) ended() bool {
	select {
	case <-a.done:
		return true
	default:
		return false
	}
}

// stop ends the agent as a service manager does, and kills it where that does
// not help. Calling it again is harmless.
func (a *agent) stop() {
	a.cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-a.done:
	case <-time.After(deadline):
		a.m.t.Errorf("the agent does not end within %v of SIGTERM", deadline)
		a.kill()
	}
}

// kill ends the agent as the out-of-memory killer does.
func (a *agent) kill() {
	syscall.Kill(-a.cmd.Process.Pid, syscall.SIGKILL)
	<-a.done
}

// eventually waits for a condition.
func (m *machine) eventually(what string, holds func() bool) {
	m.t.Helper()
	for end := time.Now().Add(deadline); !holds(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			m.t.Fatalf("%s: not within %v", what, deadline)
		}
	}
}

// log may be written and read by several goroutines.
type log struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
