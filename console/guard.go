package console

import (
	"errors"
	"fmt"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"strings"

	"sweepd/run"
)

// maxBody is far above any request that makes sense; labels have limits of
// their own.
const maxBody = 64 << 10

// guard lets only the device itself through, until there are tokens. A page
// that some other site shows in a browser on the device cannot get at the API
// either: not under a name that it made resolve to 127.0.0.1 (the Host header is
// checked), not by a form or script of its own (writes need a JSON content type,
// which browsers ask for permission first, and the same origin).
func guard(next http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		err := fromHere(r)
		if err == nil {
			err = origin.Check(r)
		}
		if err != nil {
			writeError(w, http.StatusForbidden, err)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			if err := isJSON(r); err != nil {
				writeError(w, http.StatusUnsupportedMediaType, err)
				return
			}
			r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		}
		next.ServeHTTP(w, r)
	})
}

// fromHere tells why a request does not come from this device.
func fromHere(r *http.Request) error {
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil || !from.Addr().Unmap().IsLoopback() {
		return errors.New("only /metrics answers to other machines: use this on the device itself")
	}
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if strings.EqualFold(host, "localhost") {
		return nil
	}
	if a, err := netip.ParseAddr(strings.Trim(host, "[]")); err == nil && a.Unmap().IsLoopback() {
		return nil
	}
	return fmt.Errorf("the host name %q is not this device's: use 127.0.0.1 or localhost", run.Shorten(host))
}

func isJSON(r *http.Request) error {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/json" {
		return errors.New("the content type must be application/json")
	}
	return nil
}
