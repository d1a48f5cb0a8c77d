package console

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// maxConnections at a time are many times those of a browser, of commands and of
// scrapers, and take less than 10 MB.
const maxConnections = 128

// gate is the one listener of the server. It lets in what comes by several others,
// and bounds how many connections there are: a new one takes the place of one that
// is not being answered, so that whoever floods the agent keeps nobody out.
type gate struct {
	listeners []net.Listener
	tls       *tls.Config // spoken with other machines; nil: not
	most      int
	accepted  chan net.Conn
	failed    chan error // why a listener ended, of the first
	done      chan struct{}
	close     func() error

	mu    sync.Mutex // guards conns, and the fields of each that change
	conns map[*gateConn]struct{}
}

// gateConn is a connection that the gate let in.
type gateConn struct {
	net.Conn
	gate      *gate
	from      netip.Addr
	answering int       // requests
	since     time.Time // when it came, or was answered last
}

func newGate(ls []net.Listener, most int, secure *tls.Config) *gate {
	g := &gate{listeners: ls, tls: secure, most: most, accepted: make(chan net.Conn), failed: make(chan error, len(ls)), done: make(chan struct{}), conns: map[*gateConn]struct{}{}}
	g.close = sync.OnceValue(func() error {
		close(g.done)
		return closeAll(ls)
	})
	for _, l := range ls {
		go g.acceptFrom(l)
	}
	return g
}

// acceptFrom lets in what comes by one listener until that ends. What may pass,
// such as having no descriptor left, it waits for.
func (g *gate) acceptFrom(l net.Listener) {
	const shortest, longest = 5 * time.Millisecond, time.Second
	pause := shortest
	for {
		c, err := l.Accept()
		if err != nil {
			if !passes(err) {
				g.failed <- err
				return
			}
			select {
			case <-g.done:
			case <-time.After(pause):
			}
			pause = min(2*pause, longest)
			continue
		}
		pause = shortest
		select {
		case g.accepted <- g.spoken(g.admit(c)):
		case <-g.done:
			_ = c.Close()
		}
	}
}

// spoken is a connection in TLS where the device has a certificate of its own: commands on
// this device, which may be any program, are spared that they have to trust it.
func (g *gate) spoken(c *gateConn) net.Conn {
	if g.tls == nil || c.from.IsLoopback() {
		return c
	}
	return tls.Server(c, g.tls)
}

// passes tells whether a failure to accept is one that may be over soon.
func passes(err error) bool {
	var e net.Error
	return errors.As(err, &e) && e.Temporary() //nolint:staticcheck // net/http asks the same of Accept
}

// Accept implements net.Listener.
func (g *gate) Accept() (net.Conn, error) {
	select {
	case c := <-g.accepted:
		return c, nil
	case err := <-g.failed:
		return nil, err
	case <-g.done:
		return nil, net.ErrClosed
	}
}

// Close implements net.Listener.
func (g *gate) Close() error { return g.close() }

// Addr is that of the first listener.
func (g *gate) Addr() net.Addr { return g.listeners[0].Addr() }

// admit counts a connection. Where there are too many, another one is closed, or
// this one if it comes from elsewhere and all are being answered.
func (g *gate) admit(c net.Conn) *gateConn {
	in := &gateConn{Conn: c, gate: g, since: time.Now()}
	if at, err := netip.ParseAddrPort(c.RemoteAddr().String()); err == nil {
		in.from = at.Addr().Unmap()
	}
	g.mu.Lock()
	g.conns[in] = struct{}{}
	var out *gateConn
	if len(g.conns) > g.most {
		out = g.leastMissedLocked(in)
		delete(g.conns, out)
	}
	g.mu.Unlock()
	if out != nil {
		_ = out.Conn.Close()
	}
	return in
}

// leastMissedLocked is the connection to close for a new one: the one that has
// been unanswered the longest, of the address that has the most; where all are
// being answered, one from elsewhere; else the new one.
func (g *gate) leastMissedLocked(in *gateConn) *gateConn {
	of := map[netip.Addr]int{}
	for c := range g.conns {
		of[c.from]++
	}
	worse := func(c, than *gateConn) bool {
		switch {
		case (c.answering == 0) != (than.answering == 0):
			return c.answering == 0
		case c.answering > 0 && c.from.IsLoopback() != than.from.IsLoopback():
			return than.from.IsLoopback()
		case of[c.from] != of[than.from]:
			return of[c.from] > of[than.from]
		}
		return c.since.Before(than.since)
	}
	var out *gateConn
	for c := range g.conns {
		if c != in && (out == nil || worse(c, out)) {
			out = c
		}
	}
	if out == nil || out.answering > 0 && out.from.IsLoopback() {
		return in
	}
	return out
}

// Close implements net.Conn.
func (c *gateConn) Close() error {
	c.gate.mu.Lock()
	delete(c.gate.conns, c)
	c.gate.mu.Unlock()
	return c.Conn.Close()
}

// count notes that a request on the connection begins (1) or is answered (-1).
func (c *gateConn) count(change int) {
	c.gate.mu.Lock()
	defer c.gate.mu.Unlock()
	c.answering += change
	c.since = time.Now()
}

// gateKey is that of a request's *gateConn in its context.
type gateKey struct{}

// withGateConn is the http.Server's ConnContext.
func withGateConn(ctx context.Context, c net.Conn) context.Context {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	return context.WithValue(ctx, gateKey{}, c)
}

// countAnswers lets the gate know which connections are being answered.
func countAnswers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, ok := r.Context().Value(gateKey{}).(*gateConn); ok {
			c.count(1)
			defer c.count(-1)
		}
		next.ServeHTTP(w, r)
	})
}
