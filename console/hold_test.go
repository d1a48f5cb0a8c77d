package console

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"sweepd/run"
)

// A run that is held ends when its holder is gone, unless that let go of it first or
// the agent ends.
func TestHold(t *testing.T) {
	f := &fakeAgent{data: openStore(t)}
	ls, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() {
		served <- Serve(ctx, ls, newTestHandler(f), "", nil, slog.New(slog.DiscardHandler))
	}()
	c, err := NewClient("http://" + ls[0].Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	// hold returns once the agent says that it holds the run.
	hold := func() (r run.Run, gone context.CancelFunc, held chan error) {
		t.Helper()
		if r, err = c.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); err != nil {
			t.Fatal(err)
		}
		holding, gone := context.WithCancel(t.Context())
		held = make(chan error, 1)
		said := make(chan struct{})
		go func() { held <- c.HoldRun(holding, r.ID, func() { close(said) }) }()
		select {
		case <-said:
		case err := <-held:
			t.Fatalf("not held: %v", err)
		}
		return r, gone, held
	}
	r, gone, held := hold()
	select {
	case err := <-held:
		t.Fatalf("not held: %v", err)
	case <-time.After(100 * time.Millisecond):
	}
	gone()
	<-held
	var d run.Record
	for end := time.Now().Add(10 * time.Second); d.State != run.Finished && time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		d, _ = f.data.Run(t.Context(), r.ID) // not there before its end
	}
	if len(d.Findings) != 1 || d.Findings[0].Code != run.CommandFailed || d.Findings[0].Text != abandoned {
		t.Errorf("%+v", d)
	}
	r, gone, held = hold()
	if d, err := c.StopRun(t.Context(), run.Stop{Run: r.ID}); err != nil || len(d.Findings) != 0 {
		t.Errorf("%+v, %v", d, err)
	}
	gone()
	<-held
	_, gone, held = hold()
	defer gone()
	cancel()
	if err := <-held; err != nil {
		t.Errorf("the agent ends: %v", err)
	}
	if err := <-served; err != nil {
		t.Errorf("serve: %v", err)
	}
}

// A stop is asked for once more where the answer is lost, and has then been done once.
func TestStopWhoseAnswerIsLost(t *testing.T) {
	f := &fakeAgent{data: openStore(t)}
	h := newTestHandler(f)
	var stops atomic.Int32
	var one sync.Mutex // the fake agent answers one at a time
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		one.Lock()
		defer one.Unlock()
		if r.URL.Path == "/api/v1/runs/stop" {
			if stops.Add(1) == 1 {
				h.ServeHTTP(httptest.NewRecorder(), r)
				panic(http.ErrAbortHandler) // hangs up
			}
		}
		h.ServeHTTP(w, r)
	}))
	defer s.Close()
	c, err := NewClient(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	r, err := c.StartRun(t.Context(), run.Start{Workload: "tile-sort"})
	if err != nil {
		t.Fatal(err)
	}
	d, err := c.StopRun(t.Context(), run.Stop{Run: r.ID, Results: map[string]run.Result{"fps": {Value: 60}}})
	if err != nil || stops.Load() != 2 || d.ID != r.ID || d.State != run.Finished || d.Results["fps"].Value != 60 {
		t.Errorf("asked %d times: %+v, %v", stops.Load(), d.Run, err)
	}
	// Without a run's name the second request might mean another by now: its key says that
	// it is the first one again.
	stops.Store(0)
	if r, err = c.StartRun(t.Context(), run.Start{Workload: "tile-sort"}); err != nil {
		t.Fatal(err)
	}
	if d, err := c.StopRun(t.Context(), run.Stop{}); err != nil || stops.Load() != 2 || d.ID != r.ID || d.State != run.Finished {
		t.Errorf("without a run's name: asked %d times, %+v, %v", stops.Load(), d.Run, err)
	}
}
