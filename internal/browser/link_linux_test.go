package browser_test

import (
	"net"
	"sync"
	"testing"
)

// link is a network between a browser and an agent that can be cut without anybody being
// told, as a radio's is.
type link struct {
	url string
	to  string

	mu   sync.Mutex
	flow *sync.Cond
	cut  bool
	done bool
}

func newLink(t *testing.T, to string) *link {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	k := &link{url: "http://" + l.Addr().String(), to: to}
	k.flow = sync.NewCond(&k.mu)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go k.join(c)
		}
	}()
	t.Cleanup(func() {
		_ = l.Close()
		k.mu.Lock()
		k.done = true
		k.mu.Unlock()
		k.flow.Broadcast()
	})
	return k
}

func (k *link) set(cut bool) {
	k.mu.Lock()
	k.cut = cut
	k.mu.Unlock()
	k.flow.Broadcast()
}

// pass waits while the link is cut.
func (k *link) pass() (goesOn bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for k.cut && !k.done {
		k.flow.Wait()
	}
	return !k.done
}

func (k *link) join(c net.Conn) {
	defer c.Close()
	if !k.pass() {
		return
	}
	a, err := net.Dial("tcp", k.to)
	if err != nil {
		return
	}
	defer a.Close()
	var both sync.WaitGroup
	both.Go(func() { k.carry(a, c) })
	both.Go(func() { k.carry(c, a) })
	both.Wait()
}

func (k *link) carry(to, from net.Conn) {
	defer to.Close()
	b := make([]byte, 1<<16)
	for {
		n, err := from.Read(b)
		if !k.pass() {
			return
		}
		if _, werr := to.Write(b[:n]); werr != nil || err != nil {
			return
		}
	}
}
