package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// manager listens as systemd does: a datagram socket named in NOTIFY_SOCKET, each
// datagram one or more lines VARIABLE=VALUE (sd_notify(3)).
type manager struct{ *net.UnixConn }

func newManager(t *testing.T) manager {
	t.Helper()
	dir, err := os.MkdirTemp("", "notify") // short: a socket's path has at most 107 bytes
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "s")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close(); os.RemoveAll(dir) })
	t.Setenv("NOTIFY_SOCKET", path)
	return manager{c}
}

// hears waits for a state.
func (m manager) hears(t *testing.T, state string) {
	t.Helper()
	if err := m.SetReadDeadline(time.Now().Add(deadline)); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 1024)
	for {
		n, err := m.Read(buf)
		if err != nil {
			t.Fatalf("%s was not heard: %v", state, err)
		}
		for line := range strings.Lines(string(buf[:n])) {
			if strings.TrimSpace(line) == state {
				return
			}
		}
	}
}

func TestAgentTellsTheServiceManager(t *testing.T) {
	alone(t)
	liveDevice(t)
	m := newManager(t)
	t.Setenv("WATCHDOG_USEC", fmt.Sprint((100 * time.Millisecond).Microseconds()))
	t.Setenv("WATCHDOG_PID", fmt.Sprint(os.Getpid()))
	a := startAgent(t)
	m.hears(t, "READY=1")
	m.hears(t, "WATCHDOG=1")
	m.hears(t, "WATCHDOG=1")
	if code := a.stop(); code != exitOK {
		t.Errorf("stopped with %d: %s", code, a.log)
	}
	m.hears(t, "STOPPING=1")
}
