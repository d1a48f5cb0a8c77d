package console

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A start or stop that is sent again with its key is done once, and answered alike: what
// draft-ietf-httpapi-idempotency-key-header-07 asks in its section 2.6.
func TestOnceByKey(t *testing.T) { onEach(t, onceByKey) }

func onceByKey(t *testing.T, h subject) {
	with := func(keys ...string) func(*http.Request) {
		return func(r *http.Request) { r.Header[keyHeader] = keys }
	}
	first := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, with(`"a"`))
	again := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, with(`"a"`))
	if first.Code != 200 || again.Code != 200 || first.Body.String() != again.Body.String() || again.Header().Get("Content-Type") != "application/json" {
		t.Errorf("the start: %d %s, again %d %s", first.Code, first.Body, again.Code, again.Body)
	}
	if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"other"}`, with(`"a"`)); w.Code != 422 || !strings.Contains(w.Body.String(), `"kind":"key_used"`) {
		t.Errorf("another request with the key: %d %s", w.Code, w.Body)
	}
	if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, with(`"b"`)); w.Code != 409 {
		t.Errorf("another start: %d %s", w.Code, w.Body)
	}
	first = ask(h, "POST", "/api/v1/runs/stop", `{"results":{"score":{"value":1}}}`, with(`"c"`))
	again = ask(h, "POST", "/api/v1/runs/stop", `{"results":{"score":{"value":1}}}`, with(`"c"`))
	if first.Code != 200 || first.Body.String() != again.Body.String() {
		t.Errorf("the stop: %d %s, again %d %s", first.Code, first.Body, again.Code, again.Body)
	}
	if w := ask(h, "POST", "/api/v1/runs/stop", `{}`, with(`"d"`)); w.Code != 409 {
		t.Errorf("another stop: %d %s", w.Code, w.Body)
	}
	for _, bad := range [][]string{{""}, {`""`}, {"a", "b"}, {strings.Repeat("x", 101)}, {"a\x01"}, {`a"b`}} {
		if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, with(bad...)); w.Code != 400 || h.live().Recording != nil {
			t.Errorf("key %q: %d %s", bad, w.Code, w.Body)
		}
	}
}

// While the first request goes on, others are told so; what failed for a reason of the
// agent's own may be tried again; answers are forgotten.
func TestOnceInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var a answers
		calls, status, release := 0, 200, make(chan struct{})
		h := a.once(func(w http.ResponseWriter, r *http.Request) {
			calls++
			<-release
			if r.Context().Err() != nil {
				w.WriteHeader(409)
				return
			}
			w.WriteHeader(status)
		})
		send := func(key string) int {
			r := httptest.NewRequest("POST", "/x", strings.NewReader("{}"))
			r.Header.Set(keyHeader, key)
			w := httptest.NewRecorder()
			h(w, r)
			return w.Code
		}
		done := make(chan int)
		go func() { done <- send("a") }()
		synctest.Wait()
		if code := send("a"); code != 409 || calls != 1 {
			t.Errorf("meanwhile: %d, %d calls", code, calls)
		}
		close(release)
		if code := <-done; code != 200 {
			t.Errorf("the first: %d", code)
		}
		// A phone whose network failed hung up before there was an answer, and asks again.
		gone, hangUp := context.WithCancel(t.Context())
		hangUp()
		r := httptest.NewRequestWithContext(gone, "POST", "/x", strings.NewReader("{}"))
		r.Header.Set(keyHeader, "hung up")
		h(httptest.NewRecorder(), r)
		if code := send("hung up"); code != 200 || calls != 2 {
			t.Errorf("after the first one hung up: %d, %d calls", code, calls)
		}
		status = 507
		if send("b") != 507 || send("b") != 507 || calls != 4 {
			t.Errorf("a failure of the agent's own was kept: %d calls", calls)
		}
		status = 200
		time.Sleep(keepAnswers)
		if send("a") != 200 || calls != 5 {
			t.Errorf("an old answer was kept: %d calls", calls)
		}
		for i := range mostAnswers + 10 {
			send(strings.Repeat("k", 1+i%90) + string(rune('a'+i/90)))
		}
		if len(a.kept) > mostAnswers {
			t.Errorf("%d answers are kept", len(a.kept))
		}
	})
}
