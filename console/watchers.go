package console

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// Watchers at a time; a page that is open is one.
const (
	mostWatchers    = 32 // all together
	watchersOfToken = 6  // of one phone, so that it keeps no other out
)

const (
	// beat is the time between two looks at the agent while somebody watches. A page that
	// hears nothing for 2.5 of them says that the connection is lost.
	beat = time.Second
	// keptEvents are those that somebody who was away may be given later.
	keptEvents = 256
	// watcherQueue is how many messages may wait for a watcher; one that is further behind
	// is let go and may come again.
	watcherQueue = 64
)

var errTooManyWatchers = errors.New("too many pages watch this device at the moment: close one")

// watchers are those who are told what happens, as it happens: events, which are numbered
// and kept for a while, and glances at the agent. Nothing is done while nobody watches but
// for the keeping of events.
type watchers struct {
	live    func() run.Live
	machine testday.Machine
	timer   *testday.StopTimer
	epoch   string // of the numbers, new with each start of the agent

	mu      sync.Mutex
	last    uint64 // number of the latest event
	events  []numbered
	who     map[*watcher]struct{}
	looking bool // that goroutine is there
	fresh   bool // somebody came since the last glance
}

// numbered is an event as it is sent.
type numbered struct {
	n    uint64
	text []byte
}

// watcher is one who watches.
type watcher struct {
	token    string // whose; "" is somebody on this device
	messages chan []byte
	gone     chan struct{} // closed where it is let go
}

func newWatchers(live func() run.Live, m testday.Machine, timer *testday.StopTimer) *watchers {
	return &watchers{live: live, machine: m, timer: timer, epoch: rand.Text()[:8], who: map[*watcher]struct{}{}}
}

// EventMessage is an event as watchers are told of it: the type of message "event".
type EventMessage struct {
	Kind string `json:"kind"` // run started, run ended, run corrected, setting, supply
	// Run is set for events of runs.
	Run     *run.Run            `json:"run,omitempty"`
	Setting *run.SourcedSetting `json:"setting,omitempty"`
	Supply  run.Supply          `json:"supply,omitempty"`
	Device  string              `json:"device"`
}

// hear is told of an event of the agent.
func (ws *watchers) hear(e run.Event) {
	m := EventMessage{Kind: e.Kind.String(), Device: e.Labels.Device}
	switch e.Kind {
	case run.SettingNow, run.SupplyNow:
		m.Setting, m.Supply = &e.Labels.Setting, e.Labels.Supply
	default:
		m.Run, m.Device = &e.Run, e.Run.Device
	}
	ws.mu.Lock()
	defer ws.mu.Unlock()
	ws.last++
	text := message("event", ws.idLocked(ws.last), m)
	ws.events = append(ws.events, numbered{ws.last, text})
	if len(ws.events) > keptEvents {
		ws.events = append([]numbered(nil), ws.events[len(ws.events)-keptEvents:]...)
	}
	ws.sendLocked(text)
}

func (ws *watchers) idLocked(n uint64) string { return ws.epoch + "-" + strconv.FormatUint(n, 10) }

// message is one of server-sent events (HTML Living Standard, 9.2); without an id it moves
// nobody's place.
func message(kind, id string, v any) []byte {
	text, err := json.Marshal(v)
	if err != nil { // a number that JSON cannot hold
		kind, text = "error", []byte(strconv.Quote("the agent could not say what happened"))
	}
	var b bytes.Buffer
	if id != "" {
		fmt.Fprintf(&b, "id: %s\n", id)
	}
	fmt.Fprintf(&b, "event: %s\ndata: ", kind)
	_, _ = run.VisibleWriter{To: &b}.Write(text)
	b.WriteString("\n\n")
	return b.Bytes()
}

// Beginning is the first message of a stream, "begin".
type Beginning struct {
	// Complete tells that every event since the id that was given follows. Where it is
	// false, whoever watches has to read everything anew.
	Complete bool `json:"complete"`
}

// join adds a watcher. after is the id of the last event it heard of, "" for none.
func (ws *watchers) join(token, after string) (*watcher, error) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	of := 0
	for w := range ws.who {
		if w.token == token && token != "" {
			of++
		}
	}
	if len(ws.who) >= mostWatchers || of >= watchersOfToken {
		return nil, errTooManyWatchers
	}
	missed, complete := ws.sinceLocked(after)
	w := &watcher{token: token, messages: make(chan []byte, 1+len(missed)+watcherQueue), gone: make(chan struct{})}
	w.messages <- message("begin", ws.idLocked(ws.last-uint64(len(missed))), Beginning{complete})
	for _, e := range missed {
		w.messages <- e.text
	}
	ws.who[w] = struct{}{}
	ws.fresh = true
	if !ws.looking {
		ws.looking = true
		go ws.look()
	}
	return w, nil
}

// sinceLocked are the events after that of an id, and whether these are all.
func (ws *watchers) sinceLocked(id string) (missed []numbered, all bool) {
	epoch, number, _ := strings.Cut(id, "-")
	n, err := strconv.ParseUint(number, 10, 64)
	if err != nil || epoch != ws.epoch || n > ws.last {
		return nil, false
	}
	if behind := ws.last - n; behind <= uint64(len(ws.events)) {
		return ws.events[len(ws.events)-int(behind):], true
	}
	return nil, false
}

// leave takes a watcher away.
func (ws *watchers) leave(w *watcher) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	delete(ws.who, w)
}

// letGo takes those of a token away, which was revoked.
func (ws *watchers) letGo(token string) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	for w := range ws.who {
		if w.token == token {
			ws.letGoLocked(w)
		}
	}
}

func (ws *watchers) letGoLocked(w *watcher) {
	delete(ws.who, w)
	close(w.gone)
}

func (ws *watchers) sendLocked(text []byte) {
	for w := range ws.who {
		if len(w.messages) == cap(w.messages) { // it does not keep up
			ws.letGoLocked(w)
			continue
		}
		w.messages <- text
	}
}

// look has everybody glance at the agent once a beat, until nobody watches any more.
// Between two sweeps nothing is new, and a beat says that the agent is there.
func (ws *watchers) look() {
	tick := time.NewTicker(beat)
	defer tick.Stop()
	var glancer testday.Glancer
	var last uint64
	for ; ; <-tick.C {
		l := ws.live()
		var text []byte
		if ws.wantGlance(l.Sweeps != last || l.Recording != nil) {
			text = message("glance", "", glancer.Look(l, ws.machine, ws.timer))
		} else {
			text = []byte("event: beat\ndata: {}\n\n")
		}
		last = l.Sweeps
		ws.mu.Lock()
		if len(ws.who) == 0 {
			ws.looking = false
			ws.mu.Unlock()
			return
		}
		ws.sendLocked(text)
		ws.mu.Unlock()
	}
}

// wantGlance tells whether anybody needs one: where there is news, or somebody came.
func (ws *watchers) wantGlance(news bool) bool {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	news = news || ws.fresh
	ws.fresh = false
	return news
}
