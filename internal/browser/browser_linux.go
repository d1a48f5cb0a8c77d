package browser

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// Browser is a Chromium without a window.
type Browser struct {
	t    testing.TB
	cmd  *exec.Cmd
	to   *os.File
	last atomic.Int64

	mu      sync.Mutex // guards what follows, and writing
	waiting map[int64]chan answer
	pages   map[string]*Page // by session
	closed  bool
}

type answer struct {
	Result json.RawMessage
	Error  *struct{ Message string }
}

// patience is how long a test waits for what should be there at once; the machine may be
// busy.
const patience = 90 * time.Second

// Start starts one that ends with the test. Where there is none the test is skipped, but
// fails with CI=true.
func Start(t testing.TB) *Browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is missing")
		}
		t.Skip("chromium is missing")
	}
	in, to, err := os.Pipe()
	must(t, err)
	from, out, err := os.Pipe()
	must(t, err)
	b := &Browser{t: t, to: to, waiting: map[int64]chan answer{}, pages: map[string]*Page{}}
	b.cmd = exec.Command(path, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-extensions", "--disable-background-networking", "--mute-audio",
		"--disable-dev-shm-usage", "--autoplay-policy=no-user-gesture-required", "--user-data-dir="+t.TempDir(), "--lang=en-GB", "--remote-debugging-pipe", "about:blank")
	b.cmd.ExtraFiles = []*os.File{in, out} // descriptors 3 and 4
	must(t, b.cmd.Start())
	_, _ = in.Close(), out.Close()
	read := make(chan struct{})
	go func() { defer close(read); b.read(from) }()
	t.Cleanup(func() {
		b.send("", "Browser.close", nil)
		ended := time.AfterFunc(10*time.Second, func() { _ = b.cmd.Process.Kill() })
		_ = b.cmd.Wait()
		ended.Stop()
		_ = to.Close()
		<-read
	})
	return b
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// read hands messages to whom they are for, until the browser ends.
func (b *Browser) read(from *os.File) {
	defer from.Close()
	in := bufio.NewReaderSize(from, 1<<20)
	for {
		text, err := in.ReadBytes(0)
		if err != nil {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.closed = true
			for id, w := range b.waiting {
				close(w)
				delete(b.waiting, id)
			}
			return
		}
		var m struct {
			ID        int64
			SessionID string
			Method    string
			Params    json.RawMessage
			answer
		}
		if json.Unmarshal(text[:len(text)-1], &m) != nil {
			continue
		}
		b.mu.Lock()
		if w := b.waiting[m.ID]; w != nil {
			w <- m.answer
			delete(b.waiting, m.ID)
		} else if p := b.pages[m.SessionID]; p != nil {
			p.heard(m.Method, m.Params)
		}
		b.mu.Unlock()
	}
}

// send sends a command and returns where its answer comes; closed where the browser ended.
func (b *Browser) send(session, method string, params any) chan answer {
	id := b.last.Add(1)
	if params == nil {
		params = struct{}{}
	}
	m := map[string]any{"id": id, "method": method, "params": params}
	if session != "" {
		m["sessionId"] = session
	}
	text, err := json.Marshal(m)
	w := make(chan answer, 1)
	b.mu.Lock()
	defer b.mu.Unlock()
	if err != nil || b.closed {
		close(w)
		return w
	}
	b.waiting[id] = w
	if _, err := b.to.Write(append(text, 0)); err != nil {
		delete(b.waiting, id)
		close(w)
	}
	return w
}

// call waits for the answer of a command.
func (b *Browser) call(session, method string, params, result any) error {
	select {
	case a, ok := <-b.send(session, method, params):
		switch {
		case !ok:
			return fmt.Errorf("%s: the browser ended: %w", method, io.EOF)
		case a.Error != nil:
			return fmt.Errorf("%s: %s", method, a.Error.Message)
		case result != nil:
			return json.Unmarshal(a.Result, result)
		}
		return nil
	case <-time.After(patience):
		return fmt.Errorf("%s: no answer in %v", method, patience)
	}
}

// NewPage opens a page of a profile of its own: its cookies are no other page's.
func (b *Browser) NewPage() *Page {
	b.t.Helper()
	var x struct{ BrowserContextID, TargetID, SessionID string }
	must(b.t, b.call("", "Target.createBrowserContext", nil, &x))
	must(b.t, b.call("", "Target.createTarget", map[string]any{"url": "about:blank", "browserContextId": x.BrowserContextID}, &x))
	must(b.t, b.call("", "Target.attachToTarget", map[string]any{"targetId": x.TargetID, "flatten": true}, &x))
	p := &Page{t: b.t, b: b, session: x.SessionID}
	b.mu.Lock()
	b.pages[x.SessionID] = p
	b.mu.Unlock()
	for _, domain := range []string{"Page", "Runtime", "Network", "Log"} {
		p.must(domain+".enable", nil, nil)
	}
	p.must("Security.setIgnoreCertificateErrors", map[string]any{"ignore": true}, nil)
	return p
}
