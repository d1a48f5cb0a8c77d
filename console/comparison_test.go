package console

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// counting tells how often data was opened, which is before anything is computed.
func counting(f *fakeAgent, opened *int) http.Handler {
	return New(Options{Agent: f, Store: f.data, Machine: fakeMachine{}, Token: testToken, Open: func(readOnly bool) (Data, error) {
		*opened++
		return opening(f.data)(readOnly)
	}})
}

// Nothing is computed on a device that is being measured: the last comparison is given.
func TestComparisonWhileRecording(t *testing.T) {
	f := &fakeAgent{data: openStore(t)}
	opened := 0
	h := counting(f, &opened)
	if w := ask(h, "GET", "/api/v1/comparison", "", nil); w.Code != 422 || !strings.Contains(w.Body.String(), "Nothing to compare yet: no run that counts has ended") {
		t.Errorf("without a run: %d %s", w.Code, w.Body)
	}
	record := func(what, body string) {
		t.Helper()
		if w := ask(h, "POST", "/api/v1/runs/"+what, body, nil); w.Code != 200 {
			t.Fatalf("%s: %d %s", what, w.Code, w.Body)
		}
	}
	record("start", `{"workload":"tile-sort","setting":"10W"}`)
	before := opened
	if w := ask(h, "GET", "/api/v1/comparison", "", nil); w.Code != 409 || !strings.Contains(w.Body.String(), `"kind":"recording"`) || opened != before {
		t.Errorf("in the first run: %d, opened %d times: %s", w.Code, opened-before, w.Body)
	}
	record("stop", `{"results":{"score":{"value":12,"better":"higher"}}}`)
	last := ask(h, "GET", "/api/v1/comparison", "", nil)
	if last.Code != 200 || last.Header().Get(asOfHeader) == "" || last.Body.Len() == 0 {
		t.Fatalf("after it: %d %.300s", last.Code, last.Body)
	}
	record("start", `{"workload":"tile-sort","setting":"15W"}`)
	before = opened
	w := ask(h, "GET", "/api/v1/comparison", "", nil)
	if w.Code != 200 || w.Header().Get(asOfHeader) != last.Header().Get(asOfHeader) || w.Body.String() != last.Body.String() || opened != before {
		t.Errorf("in the second: %d, of %s, opened %d times", w.Code, w.Header().Get(asOfHeader), opened-before)
	}
}

// A comparison that is being drawn ends where a run begins.
func TestComparisonEndsWhereARunBegins(t *testing.T) {
	var c comparison
	ctx, end := context.WithCancel(t.Context())
	c.draws(end)
	c.hear(run.Event{Kind: run.SupplyNow})
	if ctx.Err() != nil {
		t.Error("ended without a run")
	}
	c.hear(run.Event{Kind: run.RunStarted})
	if ctx.Err() == nil {
		t.Error("goes on in a run")
	}
}

// A second start is told to whoever stands beside the device in their words, and commands
// keep theirs.
func TestSecondStart(t *testing.T) {
	h := newTestHandler(&fakeAgent{data: openStore(t)})
	first := `{"workload":"harbour-flight","setting":"10W","by":"the page"}`
	if w := ask(h, "POST", "/api/v1/runs/start", first, nil); w.Code != 200 {
		t.Fatal(w.Body)
	}
	w := ask(h, "POST", "/api/v1/runs/start", first, nil)
	var p problem
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || w.Code != 409 {
		t.Fatalf("%d %v %s", w.Code, err, w.Body)
	}
	if !strings.HasPrefix(p.Detail, "harbour-flight at 10 W is recording already, started ") || !strings.HasSuffix(p.Detail, " by the page: nothing was started now") {
		t.Errorf("detail %q", p.Detail)
	}
	if !strings.Contains(p.Error, "sweepd run stop") {
		t.Errorf("error %q", p.Error)
	}
}

// The second tap of a phone on its own stop is the same stop, whose undo it keeps; another
// phone's is told that it came too late.
func TestSecondTapOfAStop(t *testing.T) {
	p, err := OpenPaired(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	f := &fakeAgent{data: openStore(t)}
	h := New(Options{Agent: f, Store: f.data, Machine: fakeMachine{}, Token: testToken, Open: opening(f.data), Paired: p})
	mine, others := pairPhone(t, h, "my phone"), pairPhone(t, h, "another")
	w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"harbour-flight","setting":"10W"}`, withCookie(mine))
	var r run.Run
	if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil || w.Code != 200 {
		t.Fatalf("%d %v %s", w.Code, err, w.Body)
	}
	stop := func(who *http.Cookie, status int, want string) {
		t.Helper()
		w := ask(h, "POST", "/api/v1/runs/stop", `{"run":"`+r.ID+`","if_recording":true,"by":"the page"}`, withCookie(who))
		if w.Code != status || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%d %s, want %d %s", w.Code, w.Body, status, want)
		}
	}
	stop(mine, 200, `"state":"finished"`)
	d, err := f.data.Run(t.Context(), r.ID)
	if err != nil {
		t.Fatal(err)
	}
	end := d.StartedAt.Add(time.Duration(d.Seconds() * float64(time.Second)))
	f.now.Wall = end.Add(300 * time.Millisecond)
	stop(mine, 200, `"state":"finished"`)
	f.now.Wall = end.Add(3 * time.Second)
	const late = `harbour-flight at 10 W was stopped already, 3 s ago by the page on my phone: nothing was stopped now"`
	stop(others, 409, late)
	stop(mine, 409, late)
}

// What a browser without fetch metadata says of where it comes from is looked at for what
// only reads, too.
func TestForeignOriginMayNotRead(t *testing.T) {
	h := newTestHandler(&fakeAgent{data: openStore(t)})
	for origin, want := range map[string]int{"": 200, "http://127.0.0.1:9745": 200, "http://evil.example": 403, "null": 403, "http://127.0.0.1:8000": 403} {
		if w := ask(h, "GET", "/api/v1/status", "", func(r *http.Request) { r.Header.Set("Origin", origin) }); w.Code != want {
			t.Errorf("%q: %d, want %d", origin, w.Code, want)
		}
	}
}

// Bytes are taken as bytes alone, and what is wrong with them is said in the words of the API.
func TestBytesSaySo(t *testing.T) {
	h := newTestHandler(&fakeAgent{data: openStore(t)})
	octets := func(r *http.Request) { r.Header.Set("Content-Type", octets) }
	for _, x := range []struct {
		path, body string
		change     func(*http.Request)
		status     int
		want       string
	}{
		{"/merge", `{}`, nil, 415, "application/octet-stream"},
		{"/import", `{}`, nil, 415, "text/csv"},
		{"/merge?name=other.db", "abc", octets, 400, "bytes is missing"},
		{"/import", `a"b` + "\n\"", octets, 0, "the table that was sent"},
	} {
		w := ask(h, "POST", "/api/v1"+x.path, x.body, x.change)
		if x.status != 0 && w.Code != x.status || w.Code < 400 || !strings.Contains(w.Body.String(), x.want) || strings.Contains(w.Body.String(), "--data") {
			t.Errorf("%s: %d %s", x.path, w.Code, w.Body)
		}
	}
}
