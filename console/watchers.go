package console

import (
	"bytes"
	"context"
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
	// glanceEvery is the time between two glances while a run is recording.
	glanceEvery = time.Second
	// beat is the longest time between two messages to somebody who watches: where there is
	// nothing to tell it is told that the agent is there. A page that hears nothing for 2.6 s
	// says that the connection is lost. Shorter beats cost more: 0.3 ms CPU each, of which
	// the loopback connection is the most.
	beat = 1750 * time.Millisecond
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
	hot     float64 // where a device that states no limit is too hot, °C
	epoch   string  // of the numbers, new with each start of the agent
	// handsOff is how the day without hands stands; nil where there can be none.
	handsOff func(context.Context) (testday.HandsOff, error)

	mu      sync.Mutex
	last    uint64 // number of the latest event
	events  []numbered
	who     map[*watcher]struct{}
	looking bool // that goroutine is there
	fresh   bool // somebody came since the last glance

	wake chan struct{} // to look
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

func newWatchers(live func() run.Live, m testday.Machine, timer *testday.StopTimer, hot float64) *watchers {
	return &watchers{live: live, machine: m, timer: timer, hot: hot, epoch: rand.Text()[:8], who: map[*watcher]struct{}{}, wake: make(chan struct{}, 1)}
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
	ws.wakeUp()
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
	ws.wakeUp()
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
	if len(ws.who) == 0 {
		ws.wakeUp()
	}
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

// look has everybody glance at the agent, once a second while a run is recording, otherwise
// when the next sweep is to be expected: that is a tenth of the work. It ends where nobody
// watches any more.
func (ws *watchers) look() {
	glancer := testday.Glancer{Limit: ws.hot}
	var at pace
	var day dayTold
	for {
		l := ws.live()
		came := ws.anybodyNew()
		if at.note(l) || came {
			ws.send(message("glance", "", glancer.Look(l, ws.machine, ws.timer)))
		}
		next := at.wait(l)
		if ws.handsOff != nil {
			text, goesOn := day.look(ws.handsOff, came)
			if text != nil {
				ws.send(text)
			}
			if goesOn {
				next = min(next, glanceEvery)
			}
		}
		wait := time.NewTimer(next)
		select {
		case <-wait.C:
		case <-ws.wake:
			wait.Stop()
		}
		ws.mu.Lock()
		if len(ws.who) == 0 {
			ws.looking = false
			ws.mu.Unlock()
			return
		}
		ws.mu.Unlock()
	}
}

// wakeUp has look look now.
func (ws *watchers) wakeUp() {
	select {
	case ws.wake <- struct{}{}:
	default: // it will
	}
}

// anybodyNew tells whether somebody came since it was asked last, who knows nothing yet.
func (ws *watchers) anybodyNew() bool {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	came := ws.fresh
	ws.fresh = false
	return came
}

// send has everybody hear a message.
func (ws *watchers) send(text []byte) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	ws.sendLocked(text)
}

// longestRest is the longest time between two looks at an agent at rest.
const longestRest = 10 * time.Second

// pace tells when an agent will have something new.
type pace struct {
	sweeps uint64
	at     time.Duration // monotonic time of the last sweep
	every  time.Duration // between the last two of which none was missed; 0: unknown
}

// note tells whether there is anything new.
func (p *pace) note(l run.Live) bool {
	if l.Sweeps == p.sweeps {
		return l.Recording != nil
	}
	p.every = 0
	if l.Sweeps == p.sweeps+1 && p.sweeps > 0 {
		p.every = l.At.Mono - p.at
	}
	p.sweeps, p.at = l.Sweeps, l.At.Mono
	return true
}

// wait is the time until the next look.
func (p *pace) wait(l run.Live) time.Duration {
	if l.Recording != nil || p.every <= 0 {
		return glanceEvery
	}
	const late = 50 * time.Millisecond // a sweep takes its time
	return min(longestRest, max(glanceEvery, p.at+p.every+late-l.Now.Mono))
}
