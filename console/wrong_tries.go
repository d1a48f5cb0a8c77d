package console

import (
	"net/netip"
	"sync"
	"time"
)

const (
	mostWrong    = 10               // tries in a row from one address
	forgiveAfter = 30 * time.Second // one of them
	mostGuessers = 1000             // addresses that are remembered
)

// wrongTries counts wrong tokens and codes for each address, IPv6 by its network of 64
// bits, which one machine may have whole.
type wrongTries struct {
	mu sync.Mutex
	of map[netip.Prefix]*tries
}

type tries struct {
	wrong float64
	at    time.Time
}

func networkOf(a netip.Addr) netip.Prefix {
	bits := 32
	if a = a.Unmap(); a.Is6() {
		bits = 64
	}
	p, _ := a.WithZone("").Prefix(bits) // of no address at all: the zero Prefix
	return p
}

// wait is how long an address has to wait before it may try again.
func (w *wrongTries) wait(from netip.Addr, now time.Time) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	t := w.of[networkOf(from)]
	if t == nil {
		return 0
	}
	t.forgive(now)
	return time.Duration(max(0, t.wrong-mostWrong+1) * float64(forgiveAfter))
}

// count notes a wrong try.
func (w *wrongTries) count(from netip.Addr, now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.of == nil {
		w.of = map[netip.Prefix]*tries{}
	}
	p := networkOf(from)
	if w.of[p] == nil {
		w.makeRoomLocked(now)
		w.of[p] = &tries{at: now}
	}
	t := w.of[p]
	t.forgive(now)
	t.wrong = min(t.wrong+1, mostWrong)
}

// makeRoomLocked forgets who has been forgiven, and the one with the fewest wrong tries
// where there are too many.
func (w *wrongTries) makeRoomLocked(now time.Time) {
	if len(w.of) < mostGuessers {
		return
	}
	var least netip.Prefix
	for p, t := range w.of {
		t.forgive(now)
		if l := w.of[least]; l == nil || t.wrong < l.wrong {
			least = p
		}
		if t.wrong == 0 {
			delete(w.of, p)
		}
	}
	if len(w.of) >= mostGuessers {
		delete(w.of, least)
	}
}

func (t *tries) forgive(now time.Time) {
	t.wrong = max(0, t.wrong-now.Sub(t.at).Seconds()/forgiveAfter.Seconds())
	t.at = now
}
