package attacks

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// stranger is a machine of its own: a network namespace that a pair of virtual cables joins
// to this one.
type stranger struct {
	t    *testing.T
	ns   *os.File
	here string // this machine's address, as the stranger sees it
}

func newStranger(t *testing.T) *stranger {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("making a network namespace needs root")
	}
	name := fmt.Sprintf("sweepd-%d", os.Getpid())
	s := &stranger{t: t, here: "198.51.100.1"} // RFC 5737: nobody has it
	ip := func(words string) error {
		out, err := exec.Command("ip", strings.Fields(words)...).CombinedOutput()
		if err != nil {
			return fmt.Errorf("ip %s: %w: %s", words, err, out)
		}
		return nil
	}
	if err := ip("netns add " + name); err != nil {
		t.Skip(err) // a container that may not
	}
	t.Cleanup(func() { _ = ip("netns del " + name) })
	cable := fmt.Sprintf("swd%d", os.Getpid()%1000000)
	for _, words := range []string{
		"link add " + cable + " type veth peer name eth0 netns " + name, "addr add 198.51.100.1/24 dev " + cable, "link set " + cable + " up",
		"-n " + name + " addr add 198.51.100.2/24 dev eth0", "-n " + name + " addr add 198.51.100.3/24 dev eth0", "-n " + name + " link set eth0 up", "-n " + name + " link set lo up",
	} {
		if err := ip(words); err != nil {
			t.Skip(err)
		}
	}
	var err error
	if s.ns, err = os.Open("/var/run/netns/" + name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.ns.Close() })
	return s
}

// dial connects from the stranger's machine, of one of its addresses (198.51.100.2 and 3).
func (s *stranger) dial(ctx context.Context, from, address string) (net.Conn, error) {
	type dialled struct {
		c   net.Conn
		err error
	}
	done := make(chan dialled, 1)
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with its namespace
		if err := unix.Setns(int(s.ns.Fd()), unix.CLONE_NEWNET); err != nil {
			done <- dialled{nil, err}
			return
		}
		d := net.Dialer{Timeout: deadline, LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
		c, err := d.DialContext(ctx, "tcp", address)
		done <- dialled{c, err}
	}()
	x := <-done
	return x.c, x.err
}

// client asks from one of the stranger's addresses, whatever the certificate.
func (s *stranger) client(from string) *http.Client {
	return &http.Client{Timeout: deadline, Transport: &http.Transport{
		DialContext:     func(ctx context.Context, _, address string) (net.Conn, error) { return s.dial(ctx, from, address) },
		TLSClientConfig: &tls.Config{InsecureSkipVerify: true},
	}}
}

// reply is what an agent answers to a stranger.
type reply struct {
	code    int
	body    string
	header  http.Header
	cookies []*http.Cookie
}

// ask asks, with headers as pairs; of a body the type is JSON.
func ask(t *testing.T, c *http.Client, method, url, body string, pairs ...string) reply {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method != http.MethodGet {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(pairs); i += 2 {
		if r.Header.Set(pairs[i], pairs[i+1]); pairs[i] == "Host" {
			r.Host = pairs[i+1]
		}
	}
	resp, err := c.Do(r)
	if err != nil {
		return reply{body: err.Error()}
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(io.LimitReader(resp.Body, 1<<20))
	return reply{resp.StatusCode, string(text), resp.Header, resp.Cookies()}
}

// TestFromAnotherMachine tries what somebody in the same network may try on an agent that
// answers there.
func TestFromAnotherMachine(t *testing.T) {
	s := newStranger(t)
	m := newMachine(t)
	m.device()
	config := m.write("sweepd.yaml", "device: unit-oak\nmetrics: closed\ntls_self: true\n")
	a := m.tryAgent(m.command("agent", "--config", config, "--listen", "0.0.0.0:0"))
	if a.url == "" {
		t.Fatal(a.log)
	}
	_, port, _ := net.SplitHostPort(a.url[strings.LastIndex(a.url, "//")+2:])
	m.env = append(m.env, "SWEEPD_AGENT=http://127.0.0.1:"+port)
	at := net.JoinHostPort(s.here, port)
	url := "https://" + at
	guest, other := s.client("198.51.100.2"), s.client("198.51.100.3")
	pair := func(c *http.Client, name string) (*http.Cookie, string) {
		t.Helper()
		var x struct{ Code string }
		if err := json.Unmarshal([]byte(m.mustRun("console", "pair", "--name", name, "--json").stdout), &x); err != nil {
			t.Fatal(err)
		}
		r := ask(t, c, "POST", url+"/api/v1/pair", `{"code":"`+x.Code+`"}`)
		if r.code != 200 || len(r.cookies) != 1 {
			t.Fatalf("pair: %d %s", r.code, r.body)
		}
		return r.cookies[0], x.Code
	}
	phone, used := pair(other, "a phone")
	with := phone.Name + "=" + phone.Value
	recording := func() bool { return strings.Contains(m.mustRun("status", "--json").stdout, `"state": "recording"`) }

	t.Run("without a token there is nothing", func(t *testing.T) {
		var d struct{ Paths map[string]map[string]any }
		if err := json.Unmarshal([]byte(m.mustRun("console", "openapi").stdout), &d); err != nil || len(d.Paths) < 40 {
			t.Fatal(len(d.Paths), err)
		}
		calls := []string{"GET /page.js", "GET /metrics", "GET /api/openapi.json", "GET /api.token", "GET /console.phones.json", "GET /../api.token", "GET /%2e%2e/api.token", "GET /debug/pprof/", "HEAD /api/v1/status", "OPTIONS /api/v1/runs/start"}
		for path, methods := range d.Paths {
			for method := range methods {
				calls = append(calls, strings.ToUpper(method)+" "+strings.ReplaceAll(path, "{id}", "last"))
			}
		}
		for _, call := range calls {
			method, path, _ := strings.Cut(call, " ")
			want := 401
			if path == "/api/v1/pair" {
				want = 403
			}
			r := ask(t, guest, method, url+path, "{}", "Sweepd-Token", "A", "X-Forwarded-For", "127.0.0.1", "Forwarded", "for=127.0.0.1")
			if r.code != want && (r.code != 415 || method != "OPTIONS") || strings.Contains(r.body, "unit-oak") || strings.Contains(r.body, "harbour") {
				t.Errorf("%s: %d %s", call, r.code, r.body)
			}
		}
		if r := ask(t, guest, "GET", url+"/", ""); r.code != 401 || !strings.Contains(r.body, "Pair this phone") || strings.Contains(r.body, "unit-oak") {
			t.Errorf("the page: %d %s", r.code, r.body)
		}
		if recording() {
			t.Error("a run was started")
		}
	})
	t.Run("plain HTTP gets nothing", func(t *testing.T) {
		if r := ask(t, guest, "GET", "http://"+at+"/api/v1/status", "", "Cookie", with); r.code != 400 || strings.Contains(r.body, "unit-oak") {
			t.Errorf("%d %s", r.code, r.body)
		}
	})
	t.Run("a code is good once", func(t *testing.T) {
		if r := ask(t, other, "POST", url+"/api/v1/pair", `{"code":"`+used+`"}`); r.code != 403 || len(r.cookies) > 0 {
			t.Errorf("%d %s", r.code, r.body)
		}
	})
	t.Run("guessing codes and tokens is limited", func(t *testing.T) {
		limited := false
		for i := range 30 {
			r := ask(t, guest, "POST", url+"/api/v1/pair", fmt.Sprintf(`{"code":"AAAA-AA%02d"}`, i))
			if limited = r.code == 429 && r.header.Get("Retry-After") != ""; limited {
				break
			}
		}
		if !limited {
			t.Error("30 wrong codes are taken")
		}
		if r := ask(t, guest, "GET", url+"/api/v1/status", "", "Cookie", phone.Name+"="+strings.Repeat("A", len(phone.Value))); r.code != 429 {
			t.Errorf("a wrong token then: %d", r.code)
		}
		if r := ask(t, other, "GET", url+"/api/v1/status", "", "Cookie", with); r.code != 200 {
			t.Errorf("a phone elsewhere: %d %s", r.code, r.body)
		}
	})
	t.Run("a page of another site gets nothing", func(t *testing.T) {
		for name, pairs := range map[string][]string{
			"by a name that it made resolve to here": {"Host", "evil.example:" + port},
			"by a form":                              {"Origin", "https://evil.example", "Content-Type", "text/plain"},
			"by a script":                            {"Origin", "https://evil.example"},
			"of a sister":                            {"Sec-Fetch-Site", "same-site"},
			"where it says so":                       {"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors"},
			"of no origin":                           {"Origin", "null"},
		} {
			r := ask(t, other, "POST", url+"/api/v1/runs/start", `{"workload":"evil"}`, append(pairs, "Cookie", with)...)
			if r.code < 400 || recording() || r.header.Get("Access-Control-Allow-Origin") != "" {
				t.Errorf("%s: %d %s", name, r.code, r.body)
			}
		}
		r := ask(t, other, "GET", url+"/", "", "Cookie", with)
		if csp := r.header.Get("Content-Security-Policy"); r.code != 200 || strings.Contains(csp, "unsafe") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(r.body, "<script>") {
			t.Errorf("%d %v", r.code, r.header)
		}
	})
	t.Run("a phone pairs and revokes no other", func(t *testing.T) {
		for call, body := range map[string]string{"POST /api/v1/phones/pairing": "{}", "GET /api/v1/phones": "", "POST /api/v1/phones/x/revoke": "{}"} {
			method, path, _ := strings.Cut(call, " ")
			if r := ask(t, other, method, url+path, body, "Cookie", with); r.code != 403 {
				t.Errorf("%s: %d %s", call, r.code, r.body)
			}
		}
	})
	t.Run("a program has a token of its own, and a phone's is none", func(t *testing.T) {
		var x struct{ Token string }
		if err := json.Unmarshal([]byte(m.mustRun("console", "pair", "--program", "scraper", "--json").stdout), &x); err != nil || len(x.Token) < 20 {
			t.Fatal(x, err)
		}
		bearer := func(token string) int {
			return ask(t, s.client("198.51.100.3"), "GET", url+"/metrics", "", "Authorization", "Bearer "+token).code
		}
		if code := bearer(x.Token); code != 200 {
			t.Errorf("its token: %d", code)
		}
		if r := ask(t, other, "POST", url+"/api/v1/phones/program", `{"name":"x"}`, "Authorization", "Bearer "+x.Token); r.code != 403 {
			t.Errorf("a program pairs another: %d %s", r.code, r.body)
		}
		if r := ask(t, other, "GET", url+"/api/v1/status", "", "Cookie", phone.Name+"="+x.Token); r.code != 401 {
			t.Errorf("as a cookie: %d", r.code)
		}
		if code := bearer(phone.Value); code != 401 {
			t.Errorf("a phone's token, which no script can read: %d", code)
		}
		// sweepd on another machine is a program, too.
		elsewhere := func(args ...string) (string, error) {
			c := m.command(args...)
			c.Env = append(os.Environ(), "SWEEPD_DATA=", "SWEEPD_AGENT="+url, "SWEEPD_TOKEN="+x.Token, "SSL_CERT_FILE="+m.data+"/console.cert.pem")
			out, err := c.CombinedOutput()
			return string(out), err
		}
		for _, words := range []string{"run start --workload tile-sort", "run stop --result score=7", "run reject last --why tried"} {
			if out, err := elsewhere(strings.Fields(words)...); err != nil {
				t.Errorf("%s from elsewhere: %v\n%s", words, err, out)
			}
		}
		if out, err := elsewhere("console", "list"); err == nil || !strings.Contains(out, "on the device itself") {
			t.Errorf("a program lists others: %v\n%s", err, out)
		}
		m.mustRun("console", "revoke", "scraper")
		if out, err := elsewhere("status"); err == nil || !strings.Contains(out, "console pair --program") {
			t.Errorf("after it was revoked: %v\n%s", err, out)
		}
		if code := bearer(x.Token); code != 401 {
			t.Errorf("after it was revoked: %d", code)
		}
		if kept, err := os.ReadFile(m.data + "/console.phones.json"); err != nil || bytes.Contains(kept, []byte(x.Token)) || strings.Contains(a.log.String(), x.Token) {
			t.Errorf("the token is kept: %v", err)
		}
	})
	t.Run("bodies and headers are bounded", func(t *testing.T) {
		if r := ask(t, other, "POST", url+"/api/v1/runs/start", `{"workload":"`+strings.Repeat("x", 1<<20)+`"}`, "Cookie", with); r.code != 413 && r.code != 0 { // the connection is closed on it
			t.Errorf("a body of 1 MiB: %d", r.code)
		}
		if r := ask(t, other, "GET", url+"/api/v1/status", "", "Cookie", with+"; x="+strings.Repeat("y", 64<<10)); r.code != 431 && r.code != 0 {
			t.Errorf("headers of 64 KiB: %d", r.code)
		}
		if r := ask(t, other, "POST", url+"/api/v1/runs/start", `{"workload":"a"}`, "Cookie", with, "Idempotency-Key", strings.Repeat("k", 1000)); r.code != 400 || recording() {
			t.Errorf("a key of 1000 characters: %d", r.code)
		}
	})
	t.Run("streams are bounded, and end with the token", func(t *testing.T) {
		c := s.client("198.51.100.3")
		c.Timeout = 0
		var open []*http.Response
		refused := 0
		for range 12 {
			r, _ := http.NewRequestWithContext(t.Context(), "GET", url+"/api/v1/events", nil)
			r.Header.Set("Cookie", with)
			resp, err := c.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			defer resp.Body.Close()
			if resp.StatusCode == 503 {
				refused++
			} else {
				open = append(open, resp)
			}
		}
		if refused == 0 || len(open) == 0 {
			t.Errorf("%d of 12 streams of one phone are open", len(open))
		}
		m.mustRun("console", "revoke", "a phone")
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			for _, resp := range open {
				_, _ = io.Copy(io.Discard, resp.Body)
			}
		}()
		select {
		case <-ended:
		case <-time.After(deadline):
			t.Error("streams go on after their token was revoked")
		}
		if r := ask(t, other, "GET", url+"/api/v1/status", "", "Cookie", with); r.code != 401 {
			t.Errorf("a revoked token: %d", r.code)
		}
	})
	t.Run("a flood of connections keeps the device itself not out", func(t *testing.T) {
		for range 300 {
			c, err := s.dial(t.Context(), "198.51.100.2", at)
			if err != nil {
				continue // it is being closed on
			}
			defer c.Close()
		}
		m.mustRun("run", "start", "--workload", "tile-sort", "--setting", "15W")
		m.mustRun("run", "stop")
	})
	kept, err := os.ReadFile(m.data + "/console.phones.json")
	if err != nil || bytes.Contains(kept, []byte(phone.Value)) {
		t.Errorf("the token is kept: %v", err)
	}
	if strings.Contains(a.log.String(), phone.Value) || strings.Contains(a.log.String(), used) {
		t.Error("the token or the code is in the log")
	}
}
