package browser_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"sweepd/internal/browser"
	"sweepd/internal/built"
)

// program is the built program, the same that is shipped but for its name.
var program string

func TestMain(m *testing.M) {
	flag.Parse()
	_ = flag.Set("test.parallel", "4") // they wait more than they work
	os.Exit(built.Run(m, &program))
}

// live is a simulated handheld in real time, with the agent on it.
type live struct {
	t               *testing.T
	host, dir, port string
	cmd             *exec.Cmd
	log             bytes.Buffer
}

func startLive(t *testing.T) *live { return startLiveOn(t, "127.0.0.1") }

func startLiveOn(t *testing.T, host string) *live {
	t.Helper()
	l := &live{t: t, host: host, dir: filepath.Join(t.TempDir(), "live"), port: freePort(t)}
	l.start()
	t.Cleanup(func() {
		l.end(os.Interrupt)
		if t.Failed() {
			t.Logf("the agent said:\n%s", l.log.String())
		}
	})
	return l
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return port
}

func (l *live) start() {
	l.t.Helper()
	l.cmd = exec.Command(program, "demo", "--live", "--out", l.dir, "--listen", l.host+":"+l.port)
	l.cmd.Stdout, l.cmd.Stderr = &l.log, &l.log
	if err := l.cmd.Start(); err != nil {
		l.t.Fatal(err)
	}
	for end := time.Now().Add(90 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if resp, err := http.Get(l.url() + "/api/v1/status"); err == nil {
			_ = resp.Body.Close()
			return
		}
		if time.Now().After(end) {
			l.t.Fatalf("no agent answers:\n%s", l.log.String())
		}
	}
}

// end ends the agent by a signal, once.
func (l *live) end(s os.Signal) {
	if l.cmd.ProcessState == nil {
		_ = l.cmd.Process.Signal(s)
		_ = l.cmd.Wait()
	}
}

func (l *live) kill() { l.end(syscall.SIGKILL) }

func (l *live) url() string { return "http://127.0.0.1:" + l.port }

// command runs a command as a person on the device does.
func (l *live) command(args ...string) string {
	l.t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Env = append(os.Environ(), "SWEEPD_AGENT="+l.url())
	out, err := cmd.CombinedOutput()
	if err != nil {
		l.t.Fatalf("sweepd %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return string(out)
}

// pair pairs a page, which is then open, at an address of the agent.
func (l *live) pair(p *browser.Page, at string) {
	l.t.Helper()
	var x struct{ Code string }
	unmarshal(l.t, l.command("console", "pair", "--json"), &x)
	p.Open(at + "/#pair=" + x.Code)
	p.Await("location.pathname === '/' && location.hash === '' && document.querySelector('#values dd')")
}

// view goes to a view of a page; on a desktop all are in sight.
func view(t *testing.T, p *browser.Page, name string) {
	t.Helper()
	if err := p.Eval("location.hash = '"+name+"'", nil); err != nil {
		t.Fatal(err)
	}
	p.Await("document.querySelector('#" + name + "').offsetParent !== null")
}

func unmarshal(t *testing.T, text string, into any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), into); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
}
