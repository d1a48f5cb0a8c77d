package console

import (
	"errors"
	"fmt"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"slices"
	"strings"

	"sweepd/run"
)

// maxBody is far above any request that makes sense; labels have limits of
// their own.
const maxBody = 64 << 10

// maxUpload is far above any file that is taken, bytes; each has a bound of its own.
const maxUpload = 16 << 30

// guard lets the device itself through, and phones that were paired, and only under a
// name of the device's own. A page that some other site shows in a browser can neither read
// nor write: not by a name that it made resolve to here (hosts), nor by a form or script of
// its own (origin, what the browser says of where a request comes from, and the content
// type, for which browsers ask for permission first).
func (h *handler) guard(hosts hostNames, next http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	return hosts.only(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		protect(w.Header(), r.TLS != nil)
		err := fromOurPage(r)
		if err == nil {
			err = origin.Check(r)
		}
		if err == nil {
			err = fromOwnOrigin(r)
		}
		if err != nil {
			writeError(w, http.StatusForbidden, err)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			if kind := mediaType(r); kind != "application/json" && kind != octets {
				writeError(w, http.StatusUnsupportedMediaType, wrongType(r, kind))
				return
			}
			r.Body = http.MaxBytesReader(w, r.Body, maxUpload)
		}
		if r, ok := h.admit(w, r); ok {
			next.ServeHTTP(w, r)
		}
	}))
}

// wrongType says what to send where a request has another type than JSON or bytes, or none,
// as whoever types one with curl sends.
func wrongType(r *http.Request, kind string) error {
	said := "without a content type"
	if kind != "" {
		said = "of the type " + run.Shorten(kind)
	}
	return fmt.Errorf("the request is %s, which pages of other sites can send too, so nothing was done: send JSON and say so, as in curl -H 'Content-Type: application/json' -d '{}' http://%s%s; the content type of a file's bytes is %s",
		said, r.Host, run.Shorten(r.URL.Path), octets)
}

// protect has browsers take nothing from elsewhere into a page of ours, and show none of
// ours inside another (Content Security Policy Level 3, Fetch Metadata).
func protect(header http.Header, secure bool) {
	header.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	header.Set("X-Content-Type-Options", "nosniff")
	header.Set("Referrer-Policy", "no-referrer")
	header.Set("Cross-Origin-Resource-Policy", "same-origin")
	if secure { // else browsers complain of it, and leave it
		header.Set("Cross-Origin-Opener-Policy", "same-origin")
	}
}

// fromOurPage tells why what a browser says of a request's origin forbids it (Fetch
// Metadata Request Headers, W3C). A link may lead here, and nothing else from another site.
func fromOurPage(r *http.Request) error {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "none", "same-origin":
		return nil
	}
	if r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document" && r.Method == http.MethodGet && r.URL.Path == "/" {
		return nil
	}
	return errors.New("a page of another site may not ask this agent")
}

// fromOwnOrigin tells why a request's Origin forbids it, also one that only reads: the names
// that browsers without fetch metadata tell (RFC 6454, 7; "null" is what hides its own).
func fromOwnOrigin(r *http.Request) error {
	origin := r.Header.Get("Origin")
	if origin == "" || r.Header.Get("Sec-Fetch-Site") != "" { // what that says was looked at
		return nil
	}
	if u, err := url.Parse(origin); err != nil || u.Host == "" || !strings.EqualFold(u.Host, r.Host) {
		return errors.New("a page of another site may not ask this agent")
	}
	return nil
}

// asker is the key of the id of the phone that a request came from, in its context.
type asker struct{}

// whoAsks is the id of the phone that a request came from; "" is somebody on this device.
func whoAsks(r *http.Request) string {
	id, _ := r.Context().Value(asker{}).(string)
	return id
}

// fromAddress is where a request comes from, the zero Addr where that is unknown.
func fromAddress(r *http.Request) netip.Addr {
	from, _ := netip.ParseAddrPort(r.RemoteAddr)
	return from.Addr().Unmap()
}

// hostNames are the names, lower case, under which the agent may be asked besides
// IP addresses and localhost.
type hostNames []string

// newHostNames are the device's own name, alone and as its network announces it
// (RFC 6762), and those that were configured.
func newHostNames(configured []string) hostNames {
	names := slices.Clone(configured)
	if own, err := os.Hostname(); err == nil && own != "" {
		short, _, _ := strings.Cut(own, ".")
		names = append(names, own, short, short+".local")
	}
	for i, name := range names {
		names[i] = strings.ToLower(strings.TrimSuffix(name, "."))
	}
	return names
}

// only lets requests through that name this device. A page of another site that
// made its own name resolve to this device (DNS rebinding) sends that name, in a
// browser that may be on the device or on any machine that reaches it. A client of
// HTTP/1.0 may name no host at all (RFC 1945); browsers always do.
func (n hostNames) only(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		unnamed := r.Host == "" && !r.ProtoAtLeast(1, 1)
		if !unnamed && !n.have(r.Host) {
			writeError(w, http.StatusForbidden, fmt.Errorf("the host name %q is not this device's: use its address or its own name, or list this one under hosts: in the configuration", run.Shorten(r.Host)))
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (n hostNames) have(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if _, err := netip.ParseAddr(strings.Trim(host, "[]")); err == nil {
		return true
	}
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	return host == "localhost" || slices.Contains(n, host)
}

func mediaType(r *http.Request) string {
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")) // "" where there is none
	return kind
}
