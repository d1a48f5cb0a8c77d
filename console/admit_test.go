package console

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// elsewhere is a request from another machine.
func elsewhere(change func(*http.Request)) func(*http.Request) {
	return func(r *http.Request) {
		r.RemoteAddr, r.Host = "192.0.2.7:5", "192.0.2.8:9745"
		r.Header.Del(tokenHeader)
		if change != nil {
			change(r)
		}
	}
}

func withCookie(c *http.Cookie) func(*http.Request) {
	return elsewhere(func(r *http.Request) { r.AddCookie(c) })
}

// newPairedSubject is one that takes phones, with the folder that it keeps them in.
func newPairedSubject(t *testing.T, closed bool) (h http.Handler, dir string) {
	t.Helper()
	dir = t.TempDir()
	p, err := OpenPaired(dir)
	if err != nil {
		t.Fatal(err)
	}
	f := &fakeAgent{data: openStore(t)}
	return New(Options{Agent: f, Store: f.data, Machine: fakeMachine{}, Metrics: metricsUp, MetricsClosed: closed, Token: testToken, Open: opening(f.data), Paired: p}), dir
}

// code has the device offer a code.
func code(t *testing.T, h http.Handler, name string) Pairing {
	t.Helper()
	var p Pairing
	w := ask(h, "POST", "/api/v1/phones/pairing", `{"name":"`+name+`"}`, nil)
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || w.Code != 200 {
		t.Fatalf("pairing: %d %s", w.Code, w.Body)
	}
	return p
}

// pairPhone pairs one and returns its cookie.
func pairPhone(t *testing.T, h http.Handler, name string) *http.Cookie {
	t.Helper()
	w := ask(h, "POST", "/api/v1/pair", `{"code":"`+code(t, h, name).Code+`"}`, elsewhere(nil))
	list := w.Result().Cookies()
	if w.Code != 200 || len(list) != 1 {
		t.Fatalf("pair: %d %s, cookies %v", w.Code, w.Body, list)
	}
	return list[0]
}

func TestPairing(t *testing.T) {
	h, dir := newPairedSubject(t, false)
	if w := ask(h, "GET", "/api/v1/status", "", elsewhere(nil)); w.Code != 401 || !strings.Contains(w.Body.String(), `"kind":"no_token"`) {
		t.Errorf("without a token: %d %s", w.Code, w.Body)
	}
	for path, code := range map[string]int{"/": 401, "/page.css": 200, "/pair.js": 200, "/page.js": 401, "/api/openapi.json": 401, "/metrics": 200, "/nothing": 401} {
		if w := ask(h, "GET", path, "", elsewhere(nil)); w.Code != code {
			t.Errorf("%s without a token: %d, want %d", path, w.Code, code)
		}
	}
	offer := code(t, h, "my phone")
	if d := time.Until(offer.ExpiresAt.Time); d > 2*time.Minute || d < time.Minute || offer.Name != "my phone" || len(offer.Addresses) == 0 {
		t.Errorf("%+v", offer)
	}
	typed := " " + strings.ToLower(offer.Code) + " " // as a person types it
	w := ask(h, "POST", "/api/v1/pair", `{"code":"`+typed+`"}`, elsewhere(nil))
	if w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	c := w.Result().Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Secure || c.Name != cookieName || len(c.Value) < 26 || c.MaxAge < 86400 || strings.Contains(w.Body.String(), c.Value) {
		t.Errorf("cookie %+v, answer %s", c, w.Body)
	}
	if w := ask(h, "POST", "/api/v1/pair", `{"code":"`+offer.Code+`"}`, elsewhere(nil)); w.Code != 403 || len(w.Result().Cookies()) > 0 {
		t.Errorf("a code for the second time: %d %s", w.Code, w.Body)
	}
	// The phone may do what its owner may, but pair and revoke others.
	for call, code := range map[string]int{"GET /api/v1/status": 200, "GET /": 200, "POST /api/v1/runs/start": 200, "POST /api/v1/phones/pairing": 403, "GET /api/v1/phones": 403} {
		method, path, _ := strings.Cut(call, " ")
		body := map[string]string{"POST /api/v1/runs/start": `{"workload":"tile-sort"}`, "POST /api/v1/phones/pairing": `{}`}[call]
		if w := ask(h, method, path, body, withCookie(c)); w.Code != code {
			t.Errorf("%s with the cookie: %d %s, want %d", call, w.Code, w.Body, code)
		}
	}
	// Only a hash is kept, for its owner alone.
	text, err := os.ReadFile(filepath.Join(dir, pairedName))
	if err != nil || strings.Contains(string(text), c.Value) || !strings.Contains(string(text), "my phone") || !strings.Contains(string(text), hashOf(c.Value)) {
		t.Errorf("the file: %v\n%s", err, text)
	}
	if info, err := os.Stat(filepath.Join(dir, pairedName)); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 { // Windows has access lists
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if _, err := OpenPaired(dir); err != nil {
		t.Error(err)
	}
	if w := ask(h, "POST", "/api/v1/phones/pairing", `{"name":"my phone"}`, nil); w.Code != 400 {
		t.Errorf("a name that is taken: %d %s", w.Code, w.Body)
	}
	if w := ask(h, "POST", "/api/v1/phones/pairing", `{}`, func(r *http.Request) { r.Header.Del(tokenHeader) }); w.Code != 403 {
		t.Errorf("somebody without the right pairs: %d", w.Code)
	}
}

// TestProgram: a program's token is its own, and is revoked as a phone's.
func TestProgram(t *testing.T) {
	h, _ := newPairedSubject(t, true)
	var p PairedProgram
	if w := ask(h, "POST", "/api/v1/phones/program", `{"name":"scraper"}`, nil); w.Code != 200 || json.Unmarshal(w.Body.Bytes(), &p) != nil || len(p.Token) < 20 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	bearing := func(header string) func(*http.Request) {
		return elsewhere(func(r *http.Request) { r.Header.Set("Authorization", header) })
	}
	for header, code := range map[string]int{"Bearer " + p.Token: 200, "bearer  " + p.Token: 200, "Basic " + p.Token: 401, "Bearer": 401, "Bearer " + p.Token[1:]: 401, p.Token: 401} {
		if w := ask(h, "GET", "/metrics", "", bearing(header)); w.Code != code || code == 401 && w.Header().Get("WWW-Authenticate") == "" {
			t.Errorf("%q: %d, want %d", header, w.Code, code)
		}
	}
	for _, name := range []string{"", "scraper"} {
		if w := ask(h, "POST", "/api/v1/phones/program", `{"name":"`+name+`"}`, nil); w.Code != 400 {
			t.Errorf("a program named %q: %d %s", name, w.Code, w.Body)
		}
	}
	if w := ask(h, "POST", "/api/v1/phones/"+p.ID+"/revoke", `{}`, nil); w.Code != 200 {
		t.Fatalf("revoke: %d %s", w.Code, w.Body)
	}
	if w := ask(h, "GET", "/metrics", "", bearing("Bearer "+p.Token)); w.Code != 401 {
		t.Errorf("revoked: %d", w.Code)
	}
}

func TestRevoke(t *testing.T) {
	h, _ := newPairedSubject(t, false)
	one, other := pairPhone(t, h, ""), pairPhone(t, h, "")
	var list []PairedPhone
	if w := ask(h, "GET", "/api/v1/phones", "", func(r *http.Request) { r.Header.Set(tokenHeader, testToken.text) }); json.Unmarshal(w.Body.Bytes(), &list) != nil || len(list) != 2 || list[0].Name != "phone 1" || list[1].Name != "phone 2" {
		t.Fatalf("%s", w.Body)
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		withCookie(one)(r)
		h.ServeHTTP(w, r)
	}))
	defer server.Close()
	s := watch(t, server.URL, "")
	defer s.close()
	var b Beginning
	s.next(&b, "begin")
	if w := ask(h, "POST", "/api/v1/phones/"+list[0].ID+"/revoke", `{}`, nil); w.Code != 200 {
		t.Fatalf("revoke: %d %s", w.Code, w.Body)
	}
	if _, err := io.ReadAll(s.resp.Body); err != nil {
		t.Errorf("the stream of a phone that was revoked: %v", err)
	}
	if w := ask(h, "GET", "/api/v1/status", "", withCookie(one)); w.Code != 401 {
		t.Errorf("revoked: %d", w.Code)
	}
	if w := ask(h, "GET", "/api/v1/status", "", withCookie(other)); w.Code != 200 {
		t.Errorf("the other: %d", w.Code)
	}
	if w := ask(h, "POST", "/api/v1/phones/"+list[0].ID+"/revoke", `{}`, nil); w.Code != 404 {
		t.Errorf("revoked twice: %d %s", w.Code, w.Body)
	}
}

// Wrong tokens and codes are limited for each address, and those of one keep no other out.
func TestWrongTries(t *testing.T) {
	h, _ := newPairedSubject(t, false)
	good := pairPhone(t, h, "")
	bad := *good
	bad.Value = strings.Repeat("A", len(good.Value))
	for i := range mostWrong + 1 {
		want := 401
		if i == mostWrong {
			want = 429
		}
		if w := ask(h, "GET", "/api/v1/status", "", withCookie(&bad)); w.Code != want || (w.Header().Get("Retry-After") != "") != (want == 429) {
			t.Errorf("try %d: %d %s", i+1, w.Code, w.Body)
		}
	}
	open := code(t, h, "")
	if w := ask(h, "POST", "/api/v1/pair", `{"code":"`+open.Code+`"}`, elsewhere(nil)); w.Code != 429 {
		t.Errorf("a code from that address: %d", w.Code)
	}
	if w := ask(h, "GET", "/api/v1/status", "", withCookie(good)); w.Code != 200 {
		t.Errorf("a phone behind the same address: %d", w.Code)
	}
	if w := ask(h, "POST", "/api/v1/pair", `{"code":"`+open.Code+`"}`, elsewhere(func(r *http.Request) { r.RemoteAddr = "192.0.2.9:5" })); w.Code != 200 {
		t.Errorf("another address: %d %s", w.Code, w.Body)
	}
	if w := ask(h, "POST", "/api/v1/pair", `{"code":""}`, elsewhere(func(r *http.Request) { r.RemoteAddr = "192.0.2.10:5" })); w.Code != 403 {
		t.Errorf("an empty code: %d", w.Code)
	}

	var w wrongTries
	now := time.Now()
	for range mostWrong {
		w.count(netip.MustParseAddr("2001:db8::1"), now)
	}
	for address, waits := range map[string]bool{"2001:db8::ffff": true, "2001:db8:0:1::1": false, "::ffff:192.0.2.1": false} {
		if d := w.wait(netip.MustParseAddr(address), now); (d > 0) != waits || d > forgiveAfter {
			t.Errorf("%s waits for %v", address, d)
		}
	}
	if d := w.wait(netip.MustParseAddr("2001:db8::1"), now.Add(forgiveAfter)); d > 0 {
		t.Errorf("forgiven, it waits for %v", d)
	}
	for i := range mostGuessers + 50 {
		w.count(netip.AddrFrom4([4]byte{10, 0, byte(i / 256), byte(i)}), now)
	}
	if len(w.of) > mostGuessers {
		t.Errorf("%d addresses are remembered", len(w.of))
	}
	if d := w.wait(netip.MustParseAddr("2001:db8::1"), now.Add(time.Second)); d == 0 {
		t.Error("others made it forget the one with the most wrong tries")
	}
}

func TestCodeInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var p pairings
		first := p.offer("a", time.Now())
		time.Sleep(codeLives - time.Second)
		if name, err := p.take(first.shown(), time.Now()); err != nil || name != "a" {
			t.Errorf("in time: %q, %v", name, err)
		}
		late := p.offer("b", time.Now())
		time.Sleep(codeLives)
		if _, err := p.take(late.code, time.Now()); err == nil {
			t.Error("a code of 2 minutes ago is good")
		}
		oldest := p.offer("c", time.Now())
		for range mostPending {
			p.offer("d", time.Now())
		}
		if _, err := p.take(oldest.code, time.Now()); err == nil || len(p.list) != mostPending {
			t.Errorf("%d codes are pending", len(p.list))
		}
	})
}

// What a browser says of where a request comes from is heeded (Fetch Metadata, W3C).
func TestOtherSitesGetNothing(t *testing.T) {
	h, _ := newPairedSubject(t, true)
	c := pairPhone(t, h, "")
	for name, x := range map[string]struct {
		path string
		head map[string]string
		want int
	}{
		"our page":          {"/api/v1/status", map[string]string{"Sec-Fetch-Site": "same-origin", "Sec-Fetch-Mode": "cors"}, 200},
		"typed":             {"/api/v1/status", map[string]string{"Sec-Fetch-Site": "none"}, 200},
		"another site":      {"/api/v1/status", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}, 403},
		"a sister site":     {"/api/v1/status", map[string]string{"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "cors"}, 403},
		"a link":            {"/", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}, 200},
		"a frame":           {"/", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"}, 403},
		"a link to data":    {"/api/v1/runs", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}, 403},
		"a script's stream": {"/api/v1/events", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors"}, 403},
	} {
		w := ask(h, "GET", x.path, "", elsewhere(func(r *http.Request) {
			r.AddCookie(c)
			for k, v := range x.head {
				r.Header.Set(k, v)
			}
		}))
		if w.Code != x.want || w.Header().Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: %d, want %d: %s", name, w.Code, x.want, w.Body)
		}
		csp := w.Header().Get("Content-Security-Policy")
		if strings.Contains(csp, "unsafe") || !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "frame-ancestors 'none'") || w.Header().Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %v", name, w.Header())
		}
	}
	if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"a"}`, elsewhere(func(r *http.Request) { r.AddCookie(c); r.Header.Set("Origin", "http://evil.example") })); w.Code != 403 {
		t.Errorf("another origin starts a run: %d", w.Code)
	}
	if w := ask(h, "GET", "/metrics", "", elsewhere(nil)); w.Code != 401 {
		t.Errorf("closed metrics: %d", w.Code)
	}
	if w := ask(h, "GET", "/metrics", "", withCookie(c)); w.Code != 200 {
		t.Errorf("closed metrics for a phone: %d", w.Code)
	}
	if w := ask(h, "GET", "/metrics", "", nil); w.Code != 200 {
		t.Errorf("closed metrics for this device: %d", w.Code)
	}
}

// With a certificate of the device's own other machines speak TLS and no other, and
// commands on this device go without.
func TestOwnCertificate(t *testing.T) {
	addresses := ownAddresses(false)
	if len(addresses) == 0 {
		t.Skip("this machine has no address but loopback")
	}
	dir := t.TempDir()
	own, err := OwnCertificate(dir, []string{"unit-oak.lab.example"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	again, err := OwnCertificate(dir, nil, time.Now())
	if err != nil || Fingerprint(again) != Fingerprint(own) || len(Fingerprint(own)) != 95 {
		t.Errorf("made anew without need: %v, %s", err, Fingerprint(again))
	}
	if late, err := OwnCertificate(dir, nil, time.Now().Add(certificateLives)); err != nil || Fingerprint(late) == Fingerprint(own) {
		t.Errorf("one that ends is not made anew: %v", err)
	}
	if info, err := os.Stat(filepath.Join(dir, keyName)); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 { // Windows has access lists
		t.Errorf("the key: %v, %v", info, err)
	}
	ls, err := Listen("0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	h, _ := newPairedSubject(t, false)
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- Serve(ctx, ls, h, "", own, slog.New(slog.DiscardHandler)) }()
	defer func() {
		cancel()
		if err := <-served; err != nil {
			t.Error(err)
		}
	}()
	_, port, _ := net.SplitHostPort(ls[0].Addr().String())
	reach := ReachOf(ls, "", own)
	urls := reach.Addresses
	if !reach.Reachable || urls[0] != "https://"+net.JoinHostPort(addresses[0].String(), port) {
		t.Errorf("reached at %v", urls)
	}
	var seen string
	client := http.Client{Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyConnection: func(s tls.ConnectionState) error {
		seen = Fingerprint(&tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{s.PeerCertificates[0].Raw}}}})
		return s.PeerCertificates[0].VerifyHostname(addresses[0].String())
	}}}}
	for url, want := range map[string]int{urls[0] + "/api/v1/status": 401, "http://" + net.JoinHostPort(addresses[0].String(), port) + "/api/v1/status": 400, "http://127.0.0.1:" + port + "/api/v1/status": 200} {
		resp, err := client.Get(url)
		if err != nil {
			t.Errorf("%s: %v", url, err)
			continue
		}
		_ = resp.Body.Close()
		if resp.StatusCode != want {
			t.Errorf("%s: %d, want %d", url, resp.StatusCode, want)
		}
	}
	if seen != Fingerprint(own) {
		t.Errorf("certificate %s, told %s", seen, Fingerprint(own))
	}
	p := code(t, h, "")
	resp, err := client.Post(urls[0]+"/api/v1/pair", "application/json", strings.NewReader(`{"code":"`+p.Code+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if c := resp.Cookies(); len(c) != 1 || !c[0].Secure || !strings.HasPrefix(c[0].Name, "__Host-") {
		t.Errorf("%d, cookies %+v", resp.StatusCode, c)
	}
}
