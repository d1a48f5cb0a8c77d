package console

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// Which connection makes room, told by the addresses and states of those there are.
func TestWhoMakesRoom(t *testing.T) {
	const here, one, many = "127.0.0.1", "192.0.2.1", "192.0.2.2"
	type conn struct {
		from      string
		answering int
		age       int // s
	}
	for name, c := range map[string]struct {
		conns []conn
		in    string
		want  int // index; -1: the new one itself
	}{
		"the one unanswered the longest":     {[]conn{{one, 0, 5}, {many, 0, 9}, {here, 0, 7}}, "192.0.2.9", 1},
		"of the address that has the most":   {[]conn{{one, 0, 99}, {many, 0, 5}, {many, 0, 6}}, one + "0", 2},
		"the new one counts":                 {[]conn{{one, 0, 99}, {many, 0, 5}}, many, 1},
		"no one that is being answered":      {[]conn{{many, 1, 99}, {many, 1, 98}, {one, 0, 1}}, many, 2},
		"one from elsewhere where all are":   {[]conn{{here, 1, 99}, {here, 2, 99}, {one, 1, 1}}, here, 2},
		"the longest of those":               {[]conn{{here, 1, 99}, {one, 1, 1}, {many, 1, 2}}, here, 2},
		"the new one where all are here":     {[]conn{{here, 1, 99}, {here, 1, 98}}, here, -1},
		"also a stranger where all are":      {[]conn{{here, 1, 99}, {here, 1, 98}}, one, -1},
		"the device's own, where it is idle": {[]conn{{here, 0, 9}, {one, 1, 98}}, one, 0},
	} {
		now := time.Now()
		g := &gate{conns: map[*gateConn]struct{}{}}
		var list []*gateConn
		for _, x := range c.conns {
			gc := &gateConn{gate: g, from: netip.MustParseAddr(x.from), answering: x.answering, since: now.Add(-time.Duration(x.age) * time.Second)}
			list = append(list, gc)
			g.conns[gc] = struct{}{}
		}
		in := &gateConn{gate: g, from: netip.MustParseAddr(c.in), since: now}
		g.conns[in] = struct{}{}
		want := in
		if c.want >= 0 {
			want = list[c.want]
		}
		if got := g.leastMissedLocked(in); got != want {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// startServer serves a handler on an address of its own and stops with the test.
func startServer(t *testing.T, ls []net.Listener, h http.Handler) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- Serve(ctx, ls, h, "", nil, slog.New(slog.DiscardHandler)) }()
	t.Cleanup(func() {
		cancel()
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
}

// However many connections wait, in whatever state, the next person gets in; what
// is being answered is answered to the end.
func TestAFloodKeepsNobodyOut(t *testing.T) {
	ls, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	entered, release := make(chan struct{}), make(chan struct{})
	startServer(t, ls, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/long" {
			close(entered)
			<-release
		}
		fmt.Fprint(w, "answered")
	}))
	address := ls[0].Addr().String()
	get := func(path string) error {
		c := http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 20 * time.Second}
		resp, err := c.Get("http://" + address + path)
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		if text, err := io.ReadAll(resp.Body); err != nil || string(text) != "answered" {
			return fmt.Errorf("%q, %w", text, err)
		}
		return nil
	}
	long := make(chan error, 1)
	go func() { long <- get("/long") }()
	<-entered
	for i := range 3 * maxConnections {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		switch i % 3 { // silent, slow, and with an answer read by nobody
		case 1:
			fmt.Fprint(c, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
		case 2:
			fmt.Fprint(c, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
		}
	}
	for range 20 {
		if err := get("/"); err != nil {
			t.Fatalf("kept out: %v", err)
		}
	}
	close(release)
	if err := <-long; err != nil {
		t.Errorf("what was being answered: %v", err)
	}
}

// flaky is a listener that has no descriptor left for a while.
type flaky struct {
	net.Listener
	failures atomic.Int64
}

func (f *flaky) Accept() (net.Conn, error) {
	if f.failures.Add(-1) >= 0 {
		return nil, &net.OpError{Op: "accept", Err: syscall.EMFILE}
	}
	return f.Listener.Accept()
}

func TestNoDescriptorLeftIsWaitedFor(t *testing.T) {
	ls, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	f := &flaky{Listener: ls[0]}
	f.failures.Store(4)
	startServer(t, []net.Listener{f}, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "up") }))
	resp, err := http.Get("http://" + ls[0].Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
}

// The loopback addresses are served beside any other, on the same port.
func TestListenAlsoOnLoopback(t *testing.T) {
	for at, want := range map[string]string{
		"127.0.0.1:7": "", "0.0.0.0:7": "", "[::]:7": "", "[::ffff:127.0.0.1]:7": "", "/run/x.sock": "",
		"192.0.2.1:7": "127.0.0.1:7 [::1]:7", "[2001:db8::1]:7": "127.0.0.1:7 [::1]:7", "[::1]:7": "127.0.0.1:7", "127.0.0.2:7": "127.0.0.1:7",
	} {
		if got := strings.Join(loopbackBeside(address(at)), " "); got != want {
			t.Errorf("beside %s: %q, want %q", at, got, want)
		}
	}
	ls, err := Listen("127.0.0.2:0")
	if err != nil {
		t.Skipf("this system has no 127.0.0.2: %v", err)
	}
	startServer(t, ls, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "up") }))
	_, port, _ := net.SplitHostPort(ls[0].Addr().String())
	for _, host := range []string{"127.0.0.1", "127.0.0.2"} {
		resp, err := http.Get("http://" + host + ":" + port)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
	}
	if _, err := Listen("127.0.0.3:" + port); err == nil || !strings.Contains(err.Error(), "another program has the port") || !inUse(err) {
		t.Errorf("the port is taken on 127.0.0.1: %v", err)
	}
}

type address string

func (address) Network() string  { return "tcp" }
func (a address) String() string { return string(a) }
