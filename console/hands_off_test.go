package console

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// fakeDay is as little of a day without hands as can be asked.
type fakeDay struct {
	*testday.RunnerLink
	mu     sync.Mutex // guards the rest
	day    testday.HandsOff
	begun  int
	agreed bool
}

func newFakeDay() *fakeDay {
	f := &fakeDay{RunnerLink: testday.NewRunnerLink(nil)}
	if err := json.Unmarshal([]byte(`{"state":"idle","hand":[],"skipped":[],"changed":[],"told":[],"summary":[]}`), &f.day); err != nil {
		panic(err)
	}
	return f
}

func (f *fakeDay) HandsOff(context.Context) (testday.HandsOff, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	d := f.day
	d.Runner = f.Runner()
	return d, nil
}

func (f *fakeDay) BeginHandsOff(ctx context.Context, q testday.BeginHandsOff) (testday.HandsOff, error) {
	f.mu.Lock()
	f.agreed = f.agreed || q.Consent
	switch {
	case !f.agreed:
		f.mu.Unlock()
		return testday.HandsOff{}, &testday.ConsentError{Device: "unit-oak", Cautions: testday.Cautions()}
	case f.day.State == testday.Waiting:
		f.mu.Unlock()
		return testday.HandsOff{}, testday.ErrGoesOn
	}
	f.begun++
	f.day.State, f.day.Text, f.day.By = testday.Waiting, "it waits", q.By
	f.mu.Unlock()
	return f.HandsOff(ctx)
}

func (f *fakeDay) now(ctx context.Context, s testday.HandsOffState, q testday.HandsOffRequest) (testday.HandsOff, error) {
	f.mu.Lock()
	f.day.State, f.day.Why = s, q.Why
	f.day.Told = append(f.day.Told, testday.Told{Text: fmt.Sprintf("%s, by %s, now %v", s, q.By, q.Now)})
	f.mu.Unlock()
	return f.HandsOff(ctx)
}

func (f *fakeDay) PauseHandsOff(ctx context.Context, q testday.HandsOffRequest) (testday.HandsOff, error) {
	return f.now(ctx, testday.Paused, q)
}

func (f *fakeDay) ResumeHandsOff(ctx context.Context, q testday.HandsOffRequest) (testday.HandsOff, error) {
	return f.now(ctx, testday.Waiting, q)
}

func (f *fakeDay) StopHandsOff(ctx context.Context, q testday.HandsOffRequest) (testday.HandsOff, error) {
	return f.now(ctx, testday.Over, q)
}

func (f *fakeDay) DryRunHandsOff(context.Context, testday.BeginHandsOff) (d testday.DryRun, err error) {
	return d, json.Unmarshal([]byte(`{"writes":[{"value":"25W","steps":[{"actuator":"firmware","path":"/sys/x","text":"25","was":"15"}],"cannot":""}],"hands":[],"lacks":[],"workloads":[],"cautions":["x"]}`), &d)
}

func (f *fakeDay) RunnerBeat(ctx context.Context, b testday.Beat) (testday.Order, error) {
	return f.Beat(ctx, b)
}

// handsOffServer is an agent with a day, and a client of it that has the right.
func handsOffServer(t *testing.T, day testday.HandsOffAgent) (*httptest.Server, *Client) {
	t.Helper()
	f := &fakeAgent{data: openStore(t)}
	token, err := NewToken(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(New(Options{Agent: f, Store: f.data, Machine: fakeMachine{}, Token: token, Open: opening(f.data), HandsOff: day}))
	t.Cleanup(s.Close)
	c, err := NewClient(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	c.Holder.Data = filepath.Dir(token.Path())
	return s, c
}

// A day is begun and resumed by who has the right, and agreed; everybody pauses and stops it.
func TestHandsOffOverHTTP(t *testing.T) {
	f := newFakeDay()
	_, c := handsOffServer(t, f)
	stranger := *c
	stranger.Holder.Data = t.TempDir()
	if d, err := stranger.HandsOff(t.Context()); err != nil || d.State != testday.Idle {
		t.Errorf("%+v, %v", d, err)
	}
	var right *NoRightError
	if _, err := stranger.BeginHandsOff(t.Context(), testday.BeginHandsOff{Consent: true}); !errors.As(err, &right) || f.begun != 0 {
		t.Errorf("begun without the right: %v", err)
	}
	if _, err := stranger.ResumeHandsOff(t.Context(), testday.HandsOffRequest{}); !errors.As(err, &right) || len(f.day.Told) > 0 {
		t.Errorf("resumed without the right: %v", err)
	}
	if _, err := stranger.DryRunHandsOff(t.Context(), testday.BeginHandsOff{}); !errors.As(err, &right) {
		t.Errorf("a dry run without the right: %v", err)
	}
	var consent *testday.ConsentError
	if _, err := c.BeginHandsOff(t.Context(), testday.BeginHandsOff{}); !errors.As(err, &consent) || consent.Device != "unit-oak" || len(consent.Cautions) != len(testday.Cautions()) {
		t.Errorf("consent does not travel: %v", err)
	}
	if d, err := c.BeginHandsOff(t.Context(), testday.BeginHandsOff{Consent: true, By: "sweepd plan run"}); err != nil || d.State != testday.Waiting || d.By != "sweepd plan run" {
		t.Errorf("%+v, %v", d, err)
	}
	if _, err := c.BeginHandsOff(t.Context(), testday.BeginHandsOff{}); err == nil || err.Error() != "a day goes on already" || f.begun != 1 {
		t.Errorf("twice: %v, begun %d times", err, f.begun)
	}
	if d, err := c.DryRunHandsOff(t.Context(), testday.BeginHandsOff{}); err != nil || d.Writes[0].Steps[0].Was != "15" {
		t.Errorf("%+v, %v", d, err)
	}
	for _, ask := range []func(context.Context, testday.HandsOffRequest) (testday.HandsOff, error){stranger.PauseHandsOff, c.ResumeHandsOff, stranger.StopHandsOff} {
		if _, err := ask(t.Context(), testday.HandsOffRequest{By: "sweepd plan", Why: "lunch", Now: true}); err != nil {
			t.Error(err)
		}
		if _, err := ask(t.Context(), testday.HandsOffRequest{Why: "two\nlines"}); err == nil || !strings.Contains(err.Error(), "why") {
			t.Errorf("two lines: %v", err)
		}
	}
	if d, err := c.HandsOff(t.Context()); err != nil || d.State != testday.Over || len(d.Told) != 3 || d.Told[0].Text != "paused, by sweepd plan, now true" || d.Told[2].Text != "over, by sweepd plan, now true" {
		t.Errorf("%+v, %v", d, err)
	}
}

// A begin that is asked twice with one key begins one day; without a day there is a sentence.
func TestBeginOnce(t *testing.T) {
	f := newFakeDay()
	d := &fakeAgent{data: openStore(t)}
	h := New(Options{Agent: d, Store: d.data, Machine: fakeMachine{}, Token: testToken, Open: opening(d.data), HandsOff: f})
	keyed := func(r *http.Request) { r.Header.Set(keyHeader, `"one"`) }
	first := ask(h, "POST", "/api/v1/plan/run", `{"consent":true}`, keyed)
	again := ask(h, "POST", "/api/v1/plan/run", `{"consent":true}`, keyed)
	if first.Code != 200 || again.Code != 200 || first.Body.String() != again.Body.String() || f.begun != 1 {
		t.Errorf("%d %d, begun %d times", first.Code, again.Code, f.begun)
	}
	if w := ask(h, "POST", "/api/v1/plan/run", `{"consent":true}`, nil); w.Code != 409 {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	none := newTestHandler(d)
	for _, call := range []string{"GET /plan/run", "POST /plan/run", "POST /plan/run/dry", "POST /plan/run/pause", "POST /plan/run/beat"} {
		method, path, _ := strings.Cut(call, " ")
		body := ""
		if method == "POST" {
			body = "{}"
		}
		w := ask(none, method, "/api/v1"+path, body, nil)
		var p problem
		if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || w.Code != 404 || p.Kind != kindNoHandsOff || !strings.Contains(p.Detail, "hands_off:") {
			t.Errorf("%s: %d %s", call, w.Code, w.Body)
		}
	}
	_, c := handsOffServer(t, nil)
	var not *NoHandsOffError
	if _, err := c.HandsOff(t.Context()); !errors.As(err, &not) {
		t.Errorf("%v", err)
	}
}

// A runner over HTTP is given a job and says its end. Neither does anything for a side
// that cannot prove that it has the token.
func TestBeatOverHTTP(t *testing.T) {
	f := newFakeDay()
	s, c := handsOffServer(t, f)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	orders := make(chan testday.Order, 1)
	go func() {
		o, err := c.RunnerBeat(ctx, testday.Beat{Runner: "r", User: "tester"})
		if err != nil {
			t.Error(err)
		}
		orders <- o
	}()
	for f.Runner() == nil && ctx.Err() == nil {
		time.Sleep(time.Millisecond)
	}
	done := make(chan testday.JobDone, 1)
	go func() {
		d, err := f.Carry(ctx, testday.Job{ID: "j", Workload: "tile-sort", Command: []string{"tile-sort"}}, func() {})
		if err != nil {
			t.Error(err)
		}
		done <- d
	}()
	if o := <-orders; o.Start == nil || o.Start.Command[0] != "tile-sort" {
		t.Errorf("%+v", o)
	}
	o, err := c.RunnerBeat(ctx, testday.Beat{Runner: "r", Done: &testday.JobDone{Job: "j", Results: map[string]run.Result{"score": {Value: 7}}}})
	if d := <-done; err != nil || o.Heard != "j" || d.Results["score"].Value != 7 || d.Failure != "" {
		t.Errorf("%+v, %+v, %v", o, d, err)
	}

	// Another program with the name of the folder, not what is in it.
	stranger := *c
	stranger.Holder.Data = t.TempDir()
	var right *NoRightError
	if _, err := stranger.RunnerBeat(ctx, testday.Beat{Runner: "x"}); !MayPass(err) || !strings.Contains(err.Error(), "has ended") {
		t.Errorf("an agent that has ended: %v", err)
	}
	if err := os.WriteFile(filepath.Join(stranger.Holder.Data, tokenName), []byte("guessed\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := stranger.RunnerBeat(ctx, testday.Beat{Runner: "x"}); !errors.As(err, &right) {
		t.Errorf("with another token: %v", err)
	}
	// A program that has the port and answers whatever proof it was shown.
	impostor := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set(proofHeader, r.Header.Get(proofHeader))
		_, _ = w.Write([]byte(`{"start":{"id":"j","command":["rm","-rf","/"]}}`))
	}))
	defer impostor.Close()
	fooled, err := NewClient(impostor.URL)
	if err != nil {
		t.Fatal(err)
	}
	fooled.Holder = c.Holder
	if o, err := fooled.RunnerBeat(ctx, testday.Beat{Runner: "r"}); err == nil || o.Start != nil || MayPass(err) || !strings.Contains(err.Error(), "is not the agent") {
		t.Errorf("%+v, %v", o, err)
	}
	s.Close()
	if _, err := c.RunnerBeat(ctx, testday.Beat{Runner: "r"}); !MayPass(err) {
		t.Errorf("nobody answers: %v", err)
	}
}

// beating gives a request the proof of testToken.
func beating(body string) func(*http.Request) {
	return func(r *http.Request) {
		r.Header.Set(nonceHeader, "n")
		r.Header.Set(proofHeader, testToken.proof(ofRunner, "n", []byte(body)))
	}
}

// Those who watch hear how the day stands when they come, and when that changes.
func TestHandsOffEvents(t *testing.T) {
	f := newFakeDay()
	s, c := handsOffServer(t, f)
	w := watch(t, s.URL, "")
	defer w.close()
	var d testday.HandsOff
	if w.next(&d, "day"); d.State != testday.Idle || d.Hand == nil {
		t.Errorf("%+v", d)
	}
	if _, err := c.BeginHandsOff(t.Context(), testday.BeginHandsOff{Consent: true}); err != nil {
		t.Fatal(err)
	}
	if w.next(&d, "day"); d.State != testday.Waiting {
		t.Errorf("%+v", d)
	}
	f.mu.Lock() // it changes by itself
	f.day.State, f.day.Hand = testday.Hand, []string{"unplug"}
	f.mu.Unlock()
	if w.next(&d, "day"); d.State != testday.Hand || len(d.Hand) != 1 {
		t.Errorf("%+v", d)
	}
}

// What only counts down is no news but each ten seconds, and a day that cannot be asked is
// asked again soon.
func TestDayTold(t *testing.T) {
	day := newFakeDay().day
	ask := func(context.Context) (testday.HandsOff, error) { return day, nil }
	var told dayTold
	look := func(isNew bool) bool { text, _ := told.look(ask, isNew); return text != nil }
	if !look(true) || look(false) || !look(true) {
		t.Error("somebody new is told, and nobody else")
	}
	day.State, day.Runner = testday.Running, &testday.RunnerSeen{ID: "r"}
	if !look(false) {
		t.Error("a change is not told")
	}
	day.Progress.LeftS, day.Runner = 5, &testday.RunnerSeen{ID: "r", Seen: run.Stamp(time.Unix(5, 0))}
	if look(false) {
		t.Error("what counts down is told")
	}
	told.at = told.at.Add(-tellDayEvery)
	if !look(false) || look(false) {
		t.Error("what counts down is told once each ten seconds")
	}
	if text, goesOn := told.look(func(context.Context) (testday.HandsOff, error) { return day, errDisk }, false); text != nil || !goesOn {
		t.Errorf("%s, %v", text, goesOn)
	}
}
