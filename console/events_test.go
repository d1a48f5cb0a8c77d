package console

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// stream reads messages of server-sent events as the HTML Living Standard (9.2.6) has a
// browser read them.
type stream struct {
	t    *testing.T
	resp *http.Response
	in   *bufio.Scanner
	last string // id
}

func watch(t *testing.T, base, after string) *stream {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), "GET", base+"/api/v1/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	if after != "" {
		r.Header.Set("Last-Event-ID", after)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if resp.StatusCode == 200 && resp.Header.Get("Content-Type") != eventsType {
		t.Errorf("type %q", resp.Header.Get("Content-Type"))
	}
	return &stream{t: t, resp: resp, in: bufio.NewScanner(resp.Body)}
}

func (s *stream) close() { _ = s.resp.Body.Close() }

// next is the next message of one of these kinds.
func (s *stream) next(into any, kinds ...string) (kind string) {
	s.t.Helper()
	stop := time.AfterFunc(20*time.Second, s.close)
	defer stop.Stop()
	data := ""
	for s.in.Scan() {
		field, value, _ := strings.Cut(s.in.Text(), ": ")
		switch field {
		case "event":
			kind = value
		case "data":
			data = value
		case "id":
			s.last = value
		case "":
			if strings.Contains(" "+strings.Join(kinds, " ")+" ", " "+kind+" ") {
				if err := json.Unmarshal([]byte(data), into); err != nil {
					s.t.Errorf("%s %s: %v", kind, data, err)
				}
				return kind
			}
			kind, data = "", ""
		}
	}
	s.t.Fatalf("the stream ended (%v) before %v", s.in.Err(), kinds)
	return ""
}

func TestEvents(t *testing.T) { onEach(t, events) }

func events(t *testing.T, h subject) {
	server := httptest.NewServer(h)
	defer server.Close()
	s := watch(t, server.URL, "")
	defer s.close()
	var b Beginning
	if s.next(&b, "begin"); b.Complete || s.last == "" {
		t.Errorf("begin %+v, id %q", b, s.last)
	}
	before := s.last
	var g testday.Glance
	if s.next(&g, "glance"); g.Device != "unit-oak" || g.Recording != nil {
		t.Errorf("%+v", g)
	}
	start := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort","setting":"25W"}`, nil)
	var r run.Run
	if err := json.Unmarshal(start.Body.Bytes(), &r); err != nil || start.Code != 200 {
		t.Fatalf("%d %s", start.Code, start.Body)
	}
	ask(h, "POST", "/api/v1/runs/stop", `{}`, nil)
	ask(h, "POST", "/api/v1/runs/"+r.ID+"/results", `{"results":{"score":{"value":5}}}`, nil)
	told := func(s *stream) (kinds []string, last string) {
		for {
			var e EventMessage
			s.next(&e, "event")
			if e.Run != nil && e.Run.ID != r.ID {
				t.Errorf("of run %s", e.Run.ID)
			}
			if kinds = append(kinds, e.Kind); e.Kind == "run corrected" {
				return kinds, s.last
			}
		}
	}
	kinds, last := told(s)
	// Whoever was away hears of what was missed, and of it once.
	again := watch(t, server.URL, before)
	defer again.close()
	if again.next(&b, "begin"); !b.Complete {
		t.Error("what was missed is not complete")
	}
	if missed, at := told(again); fmt.Sprint(missed) != fmt.Sprint(kinds) || at != last {
		t.Errorf("missed %v up to %s, told %v up to %s", missed, at, kinds, last)
	}
	for _, id := range []string{"other-1", "junk", before + "9", strings.Split(before, "-")[0] + "-99"} {
		odd := watch(t, server.URL, id)
		if odd.next(&b, "begin"); b.Complete || odd.last != last {
			t.Errorf("after %q: %+v at %s, want %s", id, b, odd.last, last)
		}
		odd.close()
	}
}

// The number of watchers is bounded, and who leaves makes room.
func TestTooManyWatchers(t *testing.T) {
	h := newFakeSubject(t)
	server := httptest.NewServer(h)
	defer server.Close()
	var list []*stream
	defer func() {
		for _, s := range list {
			s.close()
		}
	}()
	for range mostWatchers {
		list = append(list, watch(t, server.URL, ""))
	}
	if s := watch(t, server.URL, ""); s.resp.StatusCode != 503 || s.resp.Header.Get("Content-Type") != problemType || s.resp.Header.Get("Retry-After") == "" {
		t.Errorf("one too many: %d %v", s.resp.StatusCode, s.resp.Header)
	}
	list[0].close()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		s := watch(t, server.URL, "")
		s.close()
		if s.resp.StatusCode == 200 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("who left makes no room")
		}
	}
}

// A watcher that does not read is let go, and keeps nobody waiting.
func TestSlowWatcherIsLetGo(t *testing.T) {
	f := &fakeAgent{}
	ws := newWatchers(f.Live, fakeMachine{}, nil, 90)
	w, err := ws.join("", "")
	if err != nil {
		t.Fatal(err)
	}
	for range watcherQueue + 2 {
		ws.hear(run.Event{Kind: run.SupplyNow})
	}
	select {
	case <-w.gone:
	default:
		t.Error("it is kept")
	}
	if len(ws.events) != watcherQueue+2 {
		t.Errorf("%d events", len(ws.events))
	}
}
