package console

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/coreos/go-systemd/v22/activation"
	"github.com/prometheus/exporter-toolkit/web"

	"sweepd/internal/userfile"
)

// DefaultListen is the address that the agent listens on unless told otherwise:
// this device only.
const DefaultListen = "127.0.0.1:9745"

// windowsAddressInUse is what Windows says where others say EADDRINUSE
// (WSAEADDRINUSE, winsock2.h).
const windowsAddressInUse = syscall.Errno(10048)

// Listen opens the agent's address, empty for DefaultListen. Where that is not one
// of this device alone, the same port of the loopback addresses is opened as well:
// the rest of the API answers there only, and commands look there.
func Listen(address string) ([]net.Listener, error) {
	if address == "" {
		address = DefaultListen
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, listenError(address, err)
	}
	ls := []net.Listener{l}
	for _, loopback := range loopbackBeside(l.Addr()) {
		beside, err := net.Listen("tcp", loopback)
		switch {
		case err == nil:
			ls = append(ls, beside)
		case inUse(err):
			err = fmt.Errorf("listen on %s, which the commands on this device need beside %s: another program has the port; stop it, or choose another port with --listen: %w", loopback, address, err)
			return nil, errors.Join(err, closeAll(ls))
		} // else this device has no such address
	}
	return ls, nil
}

// loopbackBeside are the loopback addresses that a listener at an address leaves
// out.
func loopbackBeside(at net.Addr) []string {
	main, err := netip.ParseAddrPort(at.String())
	if err != nil || main.Addr().Unmap().IsUnspecified() || main.Addr().Unmap() == netip.AddrFrom4([4]byte{127, 0, 0, 1}) {
		return nil
	}
	port := strconv.Itoa(int(main.Port()))
	list := []string{net.JoinHostPort("127.0.0.1", port)}
	if !main.Addr().IsLoopback() {
		list = append(list, net.JoinHostPort("::1", port))
	}
	return list
}

func inUse(err error) bool {
	return errors.Is(err, syscall.EADDRINUSE) || errors.Is(err, windowsAddressInUse)
}

// listenError says what to do where an address cannot be opened.
func listenError(address string, err error) error {
	switch {
	case inUse(err):
		return fmt.Errorf("listen on %s: the port is in use: another agent may be running; stop it, or choose another port with --listen: %w", address, err)
	case errors.Is(err, syscall.EACCES):
		return fmt.Errorf("listen on %s: permission denied: ports below 1024 need root; choose another with --listen: %w", address, err)
	}
	return fmt.Errorf("listen on %s (an address is HOST:PORT, such as %s): %w", address, DefaultListen, err)
}

// ListenSystemd takes the sockets that systemd opened for this process (socket
// activation, sd_listen_fds(3)).
func ListenSystemd() ([]net.Listener, error) {
	ls, err := activation.Listeners()
	if err != nil {
		return nil, fmt.Errorf("take the sockets of systemd: %w", err)
	}
	ls = slices.DeleteFunc(ls, func(l net.Listener) bool { return l == nil }) // not a stream socket
	if len(ls) == 0 {
		return nil, errors.New("systemd handed over no socket: start the agent by its socket unit (systemctl start sweepd.socket), or leave --web.systemd-socket away")
	}
	return ls, nil
}

// Timeouts of the server. An answer may have to wait for a long run's judging.
const (
	headerTimeout = 10 * time.Second
	readTimeout   = 30 * time.Second
	writeTimeout  = clientTimeout
	idleTimeout   = 2 * time.Minute
	stopTimeout   = 10 * time.Second
	maxHeader     = 16 << 10
)

// Serve answers on the listeners until the context ends, then lets requests in
// progress finish. webConfig is the exporters' web configuration file (TLS,
// basic authentication), empty for none; own is what OwnCertificate gives, nil for none.
func Serve(ctx context.Context, ls []net.Listener, h http.Handler, webConfig string, own *tls.Config, log *slog.Logger) error {
	s := newServer(ctx, h, log)
	stopped := make(chan error, 1)
	stop := context.AfterFunc(ctx, func() {
		late, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTimeout)
		defer cancel()
		stopped <- s.Shutdown(late)
	})
	g := newGate(ls, maxConnections, own)
	err := web.Serve(g, s, &web.FlagConfig{WebConfigFile: &webConfig}, log)
	if stop() { // the server ended by itself
		return errors.Join(fmt.Errorf("serve on %s: %w", strings.Join(Addresses(ls), ", "), err), s.Close(), g.Close())
	}
	return <-stopped
}

// stopping is the key of the channel that is closed when the server is to stop, in the
// context of its requests.
type stopping struct{}

func newServer(ctx context.Context, h http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		BaseContext: func(net.Listener) context.Context {
			return context.WithValue(context.Background(), stopping{}, ctx.Done())
		},
		ConnContext: withGateConn,
		Handler:     countAnswers(h), ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
		MaxHeaderBytes: maxHeader, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
}

func closeAll(ls []net.Listener) (err error) {
	for _, l := range ls {
		if e := l.Close(); !errors.Is(e, net.ErrClosed) {
			err = errors.Join(err, e)
		}
	}
	return err
}

// Addresses are those that listeners answer on.
func Addresses(ls []net.Listener) []string {
	list := make([]string, len(ls))
	for i, l := range ls {
		list[i] = l.Addr().String()
	}
	return list
}

// hasCertificate finds a certificate in a web configuration.
var hasCertificate = regexp.MustCompile(`(?m)^\s+cert(_file)?\s*:\s*\S`)

// webConfigHasTLS tells whether a web configuration file names a certificate.
func webConfigHasTLS(path string) bool {
	if path == "" {
		return false
	}
	text, err := userfile.Read(context.Background(), path, userfile.Small)
	return err == nil && hasCertificate.Match(text)
}

// CheckWebConfig tells what is wrong with a web configuration file.
func CheckWebConfig(path string) error {
	if path == "" {
		return nil
	}
	if _, err := userfile.Read(context.Background(), path, userfile.Small); err != nil {
		return fmt.Errorf("web configuration: %w", err)
	}
	if err := web.Validate(path); err != nil {
		return fmt.Errorf("web configuration %s: %w", path, err)
	}
	return nil
}
