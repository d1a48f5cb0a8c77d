package console

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// subject is an agent with its handler and data.
type subject struct {
	http.Handler
	live      func() run.Live
	subscribe func(func(run.Event)) *agent.Subscription
	data      store.Store
}

// subjects make the fake and, where a device can be simulated, the real agent: what
// holds for one has to hold for the other.
var subjects = map[string]func(*testing.T) subject{"fake": newFakeSubject}

// onEach runs a test on every subject.
func onEach(t *testing.T, test func(*testing.T, subject)) {
	t.Helper()
	for name, make := range subjects {
		t.Run(name, func(t *testing.T) { test(t, make(t)) })
	}
}

func newFakeSubject(t *testing.T) subject {
	f := &fakeAgent{data: openStore(t)}
	h := New(Options{Agent: f, Store: f.data, Machine: fakeMachine{}, Metrics: metricsUp, Lower: []string{"load"}, Token: testToken, Open: opening(f.data), HandsOff: newFakeDay()})
	return subject{h, f.Live, f.Subscribe, f.data}
}

func openStore(t *testing.T) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// fakeAgent is as little of an agent as can be asked.
type fakeAgent struct {
	agent.Events
	mu        sync.Mutex // guards recording
	recording *run.Run
	stopped   run.Stopped
	now       run.Instant
	started   int
	declared  run.Setting
	asked     int // whether the device is fit
	wanted    run.Want
	data      store.Store
	unstored  []run.Record
	tried     int // to store them
	err       error
}

var errDisk = errors.New("the disk is full")

func (f *fakeAgent) StartRun(_ context.Context, s run.Start) (run.Run, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.err != nil {
		return run.Run{}, f.err
	}
	if f.recording != nil {
		return run.Run{}, run.ErrRecording
	}
	f.started++
	f.recording = &run.Run{ID: fmt.Sprintf("019a0000-000%d", f.started), State: run.Recording, Labels: run.Labels{Device: "unit-oak", Workload: s.Workload, Setting: s.Setting.From(run.Declared), Variant: s.Variant}, Note: s.Note}
	return *f.recording, nil
}

func (f *fakeAgent) StopRun(ctx context.Context, s run.Stop) (run.Record, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if s.Run != "" && (f.recording == nil || f.recording.ID != s.Run) {
		return run.Record{}, run.ErrEnded
	}
	if f.recording == nil {
		return run.Record{}, run.ErrNotRecording
	}
	d := run.Record{Run: *f.recording}
	d.State, d.Results, f.recording = run.Finished, map[string]run.Result{}, nil
	s.Apply(&d.Run)
	f.stopped = run.Stopped{Run: d.ID, By: s.By}
	if f.data != nil {
		if _, _, err := f.data.Import(ctx, "", contract.Sequence(d), nil); err != nil {
			return d, err
		}
	}
	return d, f.err
}

func (f *fakeAgent) Declare(_ context.Context, s run.Setting, by string) error {
	f.declared = s
	return f.err
}

func (f *fakeAgent) Rename(context.Context, string, string) (bool, error) { return false, f.err }

func (f *fakeAgent) StoreEnded(context.Context) error { f.tried++; return f.err }

func (f *fakeAgent) CorrectUnstored(id string, c run.Correction) (bool, error) {
	if len(f.unstored) == 0 || f.unstored[0].ID != id {
		return false, nil
	}
	e := run.Ended{Record: f.unstored[0], Corrections: []run.Correction{c}}
	return true, run.NotStored(&e, run.InJournal, errDisk)
}

func (f *fakeAgent) Live() run.Live {
	f.mu.Lock()
	defer f.mu.Unlock()
	return run.Live{
		Unstored: f.unstored, Stopped: f.stopped, Now: f.now,
		Current: run.Labels{Device: "unit-oak", Setting: f.declared.From(run.Declared)}, Recording: f.recording, DischargeWatts: math.NaN(), ChargeRatio: 0.5,
		Sensors: []run.Sensor{{ID: "temperature_celsius", Unit: "celsius", Source: "/t"}, {ID: "fan_speed_hertz", Source: "/f"}, {ID: "gpu_busy_ratio", Source: "/f"}, {ID: "cpus_online", Source: "/g"}, {ID: "cpu_busy_ratio", Source: "/h"}},
		Values:  []float64{51.5, math.NaN(), math.NaN(), math.NaN(), math.NaN()},
	}
}

func (f *fakeAgent) Ready(_ context.Context, w run.Want) (run.Readiness, error) {
	f.asked++
	f.wanted = w
	if f.asked < 3 {
		return run.Readiness{Reasons: []run.Reason{{Finding: run.Finding{Code: run.HotStart, Text: "hot " + string(w.Supply)}}}}, f.err
	}
	return run.Readiness{Fit: true}, f.err
}

type fakeMachine struct{}

func (fakeMachine) Timing(i int) (read, refresh time.Duration) {
	if i == 0 {
		return 1500 * time.Nanosecond, time.Second
	}
	return 0, 0
}

func (fakeMachine) Lag(int) time.Duration { return 0 }

func (fakeMachine) HotLimit(int) float64 { return math.NaN() }

func (fakeMachine) Cause(i int) error {
	if i == 3 {
		return &collectors.ReadError{Path: "/g", Text: "lots", Want: "a whole number"}
	}
	return nil
}

func (fakeMachine) Absences() []collectors.Absence {
	return []collectors.Absence{
		{Collector: "hwmon", Source: "/f", Why: "permission denied", Remedy: "run as root"},
		{Collector: "powercap", Source: "/p", Why: "no such driver"},
	}
}

// ask sends a request as a program on this device would.
func ask(h http.Handler, method, path, body string, change func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.RemoteAddr, r.Host = "127.0.0.1:50000", "127.0.0.1:9745"
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set(tokenHeader, testToken.text)
	}
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if strings.HasPrefix(path, "/api/") && w.Code != http.StatusNoContent { // one answer, which no cache keeps
		if err := checkDescribed(r, body, w); err != nil {
			panic(err.Error())
		}
		if w.Header().Get("Cache-Control") != "no-store" {
			panic(fmt.Sprintf("%s %s: %v", method, path, w.Header()))
		}
		want := "application/json"
		if w.Code >= 400 {
			want = problemType
		}
		var answer any
		if kind := w.Header().Get("Content-Type"); kind == "" || kind == want {
			if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil || kind != want {
				panic(fmt.Sprintf("%s %s: %v: %s %v", method, path, err, w.Body, w.Header()))
			}
		}
	}
	return w
}

// testToken is the right to change what is kept; ask has it.
var testToken = Token{text: "a right"}

// stillOpen is a store that stays open after a request.
type stillOpen struct{ store.Store }

func (stillOpen) Close() error  { return nil }
func (stillOpen) Damage() error { return nil }

// opening gives the same store for every request.
func opening(s store.Store) func(bool) (Data, error) {
	return func(bool) (Data, error) { return stillOpen{s}, nil }
}

// metricsUp stands for what /metrics answers.
var metricsUp = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "up 1") })

func newTestHandler(f *fakeAgent) http.Handler {
	return New(Options{Agent: f, Store: f.data, Machine: fakeMachine{}, Metrics: metricsUp, Lower: []string{"load"}, Token: testToken, Open: opening(f.data)})
}

func TestOnlyThisDeviceGetsIn(t *testing.T) { onEach(t, onlyThisDeviceGetsIn) }

func onlyThisDeviceGetsIn(t *testing.T, h subject) {
	for name, c := range map[string]struct {
		change func(*http.Request)
		want   int
	}{
		"this device":          {nil, 200},
		"by name":              {func(r *http.Request) { r.Host = "LocalHost:9745" }, 200},
		"IPv6":                 {func(r *http.Request) { r.RemoteAddr, r.Host = "[::1]:5", "[::1]:9745" }, 200},
		"IPv4 in IPv6":         {func(r *http.Request) { r.RemoteAddr = "[::ffff:127.0.0.1]:5" }, 200},
		"another machine":      {func(r *http.Request) { r.RemoteAddr = "192.0.2.7:5" }, 401},
		"no address":           {func(r *http.Request) { r.RemoteAddr = "" }, 401},
		"a rebound name":       {func(r *http.Request) { r.Host = "evil.example:9745" }, 403},
		"a name like this one": {func(r *http.Request) { r.Host = "localhost.evil.example" }, 403},
		"no host":              {func(r *http.Request) { r.Host = "" }, 403},
		"HTTP/1.0, no host":    {func(r *http.Request) { r.Host, r.ProtoMajor, r.ProtoMinor = "", 1, 0 }, 200},
		"HTTP/1.0, another":    {func(r *http.Request) { r.Host, r.ProtoMajor, r.ProtoMinor = "evil.example", 1, 0 }, 403},
		"by its address":       {func(r *http.Request) { r.Host = "192.0.2.8:9745" }, 200},
		"by its own name":      {func(r *http.Request) { r.Host = ownName(t) + ":9745" }, 200},
		"forwarded":            {func(r *http.Request) { r.RemoteAddr = "192.0.2.7:5"; r.Header.Set("X-Forwarded-For", "127.0.0.1") }, 401},
	} {
		if w := ask(h, "GET", "/api/v1/status", "", c.change); w.Code != c.want {
			t.Errorf("%s: %d, want %d: %s", name, w.Code, c.want, w.Body)
		}
	}
	own := ownName(t)
	short, _, _ := strings.Cut(own, ".")
	for host, want := range map[string]int{
		"192.0.2.8:9745": 200, "192.0.2.8": 200, "[2001:db8::8]:9745": 200, "[fe80::8%1]": 200, "localhost": 200, own: 200, strings.ToUpper(own) + ".:9745": 200,
		short + ".local:9745": 200, "evil.example:9745": 403, own + ".evil.example": 403, "localhost.evil.example": 403, "192.0.2.8.evil.example": 403,
		"": 403, "local": 403, ".local": 403, "192.0.2.8@evil.example": 403,
	} {
		if w := ask(h, "GET", "/metrics", "", func(r *http.Request) { r.RemoteAddr, r.Host = "192.0.2.7:5", host }); w.Code != want || strings.Contains(w.Body.String(), "up 1") != (want == 200) {
			t.Errorf("metrics from another machine under %q: %d, want %d: %s", host, w.Code, want, w.Body)
		}
	}
}

func ownName(t *testing.T) string {
	t.Helper()
	name, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	return name
}

// A name that was configured is the device's, as it is written and in no other
// domain.
func TestConfiguredHosts(t *testing.T) {
	h := New(Options{Agent: &fakeAgent{}, Machine: fakeMachine{}, Metrics: metricsUp, Hosts: []string{"Unit-Oak.lab.example."}})
	for host, want := range map[string]int{"unit-oak.lab.example:9745": 200, "UNIT-OAK.lab.example.": 200, "unit-elm.lab.example": 403, "lab.example": 403, "unit-oak.lab.example.evil.example": 403} {
		for _, path := range []string{"/metrics", "/api/v1/status"} {
			if w := ask(h, "GET", path, "", func(r *http.Request) { r.Host = host }); w.Code != want {
				t.Errorf("%s under %s: %d, want %d", path, host, w.Code, want)
			}
		}
	}
}

func TestPagesElsewhereCannotWrite(t *testing.T) { onEach(t, pagesElsewhereCannotWrite) }

func pagesElsewhereCannotWrite(t *testing.T, h subject) {
	for name, change := range map[string]func(*http.Request){
		"a form":               func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") },
		"no content type":      func(r *http.Request) { r.Header.Del("Content-Type") },
		"another origin":       func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") },
		"a cross-site request": func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
	} {
		w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"a"}`, change)
		if w.Code < 400 || h.live().Recording != nil {
			t.Errorf("%s: %d, recording %v", name, w.Code, h.live().Recording)
		}
		if w.Header().Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: other origins are let in", name)
		}
	}
}

func TestStartAndStop(t *testing.T) { onEach(t, startAndStop) }

func startAndStop(t *testing.T, h subject) {
	w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"harbour-flight","setting":"25W","variant":{"cores":"6"},"note":"n"}`, nil)
	for _, part := range []string{`"workload":"harbour-flight","setting":{"watts":25,"name":"","source":"declared"}`, `"variant":{"cores":"6"}`, `"state":"recording"`, `"note":"n"`, `"results":{}`} {
		if w.Code != 200 || !strings.Contains(w.Body.String(), part) {
			t.Errorf("start: %d %s lacks %s", w.Code, w.Body, part)
		}
	}
	if r := h.live().Recording; r == nil || r.Cell() != (run.Cell{Device: r.Device, Workload: "harbour-flight", Setting: run.Watts(25), Supply: r.Supply, Variant: "cores=6"}) {
		t.Errorf("recording %+v", r)
	}
	if w := ask(h, "GET", "/api/v1/status", "", nil); !strings.Contains(w.Body.String(), `"recording":{"id":"`) || strings.Contains(w.Body.String(), `"findings":null`) {
		t.Errorf("status: %s", w.Body)
	}
	if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"a"}`, nil); w.Code != 409 || !strings.Contains(w.Body.String(), run.ErrRecording.Error()) {
		t.Errorf("a second start: %d %s", w.Code, w.Body)
	}
	w = ask(h, "POST", "/api/v1/runs/stop", `{"results":{"fps":{"value":61.3,"unit":"fps"},"load":{"value":4},"x":{"value":1,"better":"lower"}}}`, nil)
	for _, part := range []string{
		`"fps":{"value":61.3,"unit":"fps","better":"higher"}`, `"load":{"value":4,"unit":"","better":"lower"}`, `"x":{"value":1,"unit":"","better":"lower"}`,
		`"state":"finished"`, `"discharge":{"watts":null`, `"facts":{}`, `"findings":[`, `"summaries":[`,
	} {
		if w.Code != 200 || !strings.Contains(w.Body.String(), part) {
			t.Errorf("stop: %d %s lacks %s", w.Code, w.Body, part)
		}
	}
	if w := ask(h, "POST", "/api/v1/runs/stop", `{}`, nil); w.Code != 409 || !strings.Contains(w.Body.String(), run.ErrNotRecording.Error()) {
		t.Errorf("a second stop: %d %s", w.Code, w.Body)
	}
}

// A stop that names a run ends that one or none; repeated, it is done already, and
// what it says of the run is kept.
func TestStopOfANamedRun(t *testing.T) { onEach(t, stopOfANamedRun) }

func stopOfANamedRun(t *testing.T, h subject) {
	start := func(workload string) string {
		t.Helper()
		var r run.Run
		w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"`+workload+`"}`, nil)
		if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil || w.Code != 200 {
			t.Fatalf("start: %d %s", w.Code, w.Body)
		}
		return r.ID
	}
	stop := func(code int, body, says string) {
		t.Helper()
		if w := ask(h, "POST", "/api/v1/runs/stop", body, nil); w.Code != code || !strings.Contains(w.Body.String(), says) {
			t.Errorf("%s: %d %s, want %d with %s", body, w.Code, w.Body, code, says)
		}
	}
	first := start("tile-sort")
	stop(404, `{"run":"ffffffff"}`, "no such run")
	stop(400, `{"run":"ffffffff",}`, "no run was stopped: run \\\"ffffffff\\\": no such run")
	stop(400, `{"run":"fffff`, "not the JSON object")
	stop(400, `{"run":5}`, "not the JSON object")
	if r := h.live().Recording; r == nil || r.ID != first {
		t.Fatalf("a stop of another ended the run: %+v", r)
	}
	repeated := `{"run":"` + first + `","results":{"fps":{"value":61.5}},"note":"n","failure":"exit status 3"}`
	for range 2 {
		stop(200, repeated, `"id":"`+first)
		stop(200, repeated, `"fps":{"value":61.5,"unit":"","better":"higher"}`)
		stop(200, repeated, `{"code":"command_failed","severity":"doubt","text":"exit status 3"`)
		if r := h.live().Recording; r != nil && r.ID == first {
			t.Fatal("not stopped")
		}
		start("harbour-flight")
		stop(200, repeated, `"workload":"tile-sort"`)
		stop(200, `{"run":"`+first+`","results":{"load":{"value":4}}}`, `"load":{"value":4,"unit":"","better":"lower"}`)
		stop(409, `{"run":"`+first+`","note":"another"}`, "is not recording (finished): its note stays as it is")
		if r := h.live().Recording; r == nil || r.Workload != "harbour-flight" {
			t.Fatalf("another run was stopped: %+v", r)
		}
		stop(200, `{"run":"`+h.live().Recording.ID+`"}`, `"results":{}`)
	}
	if w := ask(h, "GET", "/api/v1/runs/"+first, "", nil); !strings.Contains(w.Body.String(), `"note":"n"`) || !strings.Contains(w.Body.String(), `"history":{"results":[],`) || strings.Count(w.Body.String(), "command_failed") != 1 {
		t.Errorf("a repeated stop left traces: %s", w.Body)
	}
}

// Whatever is wrong with a stop, the run ends, and the answer has it with what could be
// kept.
func TestStopMeansStop(t *testing.T) { onEach(t, stopMeansStop) }

func stopMeansStop(t *testing.T, h subject) {
	for body, want := range map[string]struct {
		says    string
		results map[string]float64
	}{
		`{"results":{"fps":{"value":68,4}}}`:                                  {"not the JSON object", nil},
		`{"results":{"fps":{"value":"fast"},"load":{"value":4}}}`:             {"no value that is a number", map[string]float64{"load": 4}},
		`{"results":{"fps":{"value":1e999},"load":{"value":4}}}`:              {"give the result with `sweepd run result", map[string]float64{"load": 4}},
		`{"results":{"fps":{"value":null},"load":{"value":4}}}`:               {"fps=…`: result fps: {\"value\":null} has no value", map[string]float64{"load": 4}},
		`{"results":{"fps":{"value":1,"better":"faster"}}}`:                   {"want higher or lower", nil},
		`{"results":{"a=b":{"value":1},"load":{"value":4}}}`:                  {"may not hold", map[string]float64{"load": 4}},
		`{"note":"` + strings.Repeat("x", 4001) + `"}`:                        {"note has 4001 bytes", nil},
		`{"failure":"` + strings.Repeat("x", 4001) + `"}`:                     {"failure has 4001 bytes", nil},
		`{"results":{"load":{"value":4}},"reslts":{}}`:                        {"reslts", map[string]float64{"load": 4}},
		`{"results":{"load":{"value":4}}} {}`:                                 {"more than one value", map[string]float64{"load": 4}},
		`{"run":"RUN","results":{"fps":{"value":"fast"},"load":{"value":4}}}`: {"no value that is a number", map[string]float64{"load": 4}},
		`{"run":"RUN","results":{"fps":{"value":68,4}}}`:                      {"not the JSON object", nil},
		`[]`: {"not the JSON object", nil},
	} {
		var r run.Run
		if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, nil); json.Unmarshal(w.Body.Bytes(), &r) != nil || r.ID == "" {
			t.Fatalf("start: %s", w.Body)
		}
		w := ask(h, "POST", "/api/v1/runs/stop", strings.ReplaceAll(body, "RUN", r.ID), nil)
		var m problem
		if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil || w.Code != 400 || !strings.Contains(m.Error, want.says) || !strings.HasPrefix(m.Error, "run "+run.ShortID(r.ID)+" ended at ") {
			t.Errorf("%.60s: %d %.300s, %v", body, w.Code, w.Body, err)
			continue
		}
		if h.live().Recording != nil || m.Ended == nil || m.Ended.ID != r.ID || m.Ended.State != run.Finished || len(m.Unusable.Why) == 0 || len(m.Ended.Results) != len(want.results) {
			t.Errorf("%.60s: recording %+v, ended %+v", body, h.live().Recording, m.Ended)
			continue
		}
		for name, v := range want.results {
			if m.Ended.Results[name].Value != v {
				t.Errorf("%.60s: kept %v", body, m.Ended.Results)
			}
		}
	}
	if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"tile-sort"}`, nil); w.Code != 200 {
		t.Fatalf("start: %s", w.Body)
	}
	if w := ask(h, "POST", "/api/v1/runs/stop", strings.Repeat("x", 70_000), nil); w.Code != 413 || h.live().Recording == nil {
		t.Errorf("which run is meant did not arrive: %d %.200s", w.Code, w.Body)
	}
	if w := ask(h, "POST", "/api/v1/runs/stop", "", nil); w.Code != 200 || h.live().Recording != nil {
		t.Errorf("a stop that says nothing: %d %.200s", w.Code, w.Body)
	}
}

func TestBadRequests(t *testing.T) { onEach(t, badRequests) }

func badRequests(t *testing.T, h subject) {
	big := strings.Repeat("x", 10_000)
	for _, c := range []struct {
		path, body string
		code       int
		says       string
	}{
		{"runs/start", `{"workload":"` + big + `"}`, 400, "10000 bytes: at most 200"},
		{"runs/start", `{"workload":"a","variant":{"` + big + `":"1"}}`, 400, "10000 bytes"},
		{"runs/start", `{"workload":"a","setting":"` + big + `"}`, 400, "10000 bytes"},
		{"runs/start", `{"workload":"` + strings.Repeat(big, 10) + `"}`, 413, "more than 65536 bytes"},
		{"runs/start", `{"workload":"a\nb"}`, 400, "one line"},
		{"runs/start", `{"workload":""}`, 400, "workload is empty"},
		{"runs/start", `{}`, 400, "workload is empty"},
		{"runs/start", ``, 400, "not the JSON object"},
		{"runs/start", `[]`, 400, "not the JSON object"},
		{"runs/start", `{"workload":"a"} {}`, 400, "more than one value"},
		{"runs/start", `{"workload":"a","wokload":"b"}`, 400, "wokload"},
		{"runs/start", `{"workload":"a","setting":"0W"}`, 400, "above 0"},
		{"runs/stop", `{"results":{"fps":{"value":"fast"}}}`, 400, "no value that is a number"},
		{"runs/stop", `{"results":{"fps":{"value":1e999}}}`, 400, "no value that is a number"},
		{"runs/stop", `{"results":{"fps":{"value":null}}}`, 400, "has no value"},
		{"runs/stop", `{"results":{"fps":{"value":1,"better":"faster"}}}`, 400, "want higher or lower"},
		{"runs/stop", `{"results":{"a=b":{"value":1}}}`, 400, "may not hold"},
		{"setting", `{"setting":"5000W"}`, 400, "at most 1000"},
		{"nothing", `{}`, 404, "there is nothing at POST /api/v1/nothing"},
	} {
		w := ask(h, "POST", "/api/v1/"+c.path, c.body, nil)
		var m problem
		if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil || w.Code != c.code || !strings.Contains(m.Error, c.says) {
			t.Errorf("%s %.60s: %d %.200s, want %d with %q", c.path, c.body, w.Code, w.Body, c.code, c.says)
		}
		if now := h.live(); now.Recording != nil || now.Current.Setting.Known() {
			t.Errorf("%s %.60s reached the agent", c.path, c.body)
		}
	}
}

func TestAgentErrors(t *testing.T) {
	for _, c := range []struct {
		err  error
		code int
	}{
		{fmt.Errorf("run 1: %w", run.ErrRecording), 409}, {run.ErrNotRecording, 409}, {errors.New("disk full"), 500},
	} {
		w := ask(newTestHandler(&fakeAgent{err: c.err, data: openStore(t)}), "POST", "/api/v1/runs/start", `{"workload":"a"}`, nil)
		if w.Code != c.code || !strings.Contains(w.Body.String(), c.err.Error()) {
			t.Errorf("%v: %d %s", c.err, w.Code, w.Body)
		}
	}
}

func TestStatusAndSensors(t *testing.T) {
	h := newTestHandler(&fakeAgent{})
	w := ask(h, "GET", "/api/v1/status", "", nil)
	if s := w.Body.String(); !strings.Contains(s, `"discharge_watts":null,"charge_ratio":0.5`) || !strings.Contains(s, `"at":null`) {
		t.Errorf("status: %s", s)
	}
	var rows []testday.SensorRow
	w = ask(h, "GET", "/api/v1/sensors", "", nil)
	if err := json.Unmarshal(w.Body.Bytes(), &rows); err != nil || len(rows) != 6 {
		t.Fatalf("%s: %v", w.Body, err)
	}
	if r := rows[0]; *r.Value != 51.5 || *r.ReadUs != 1.5 || *r.RefreshS != 1 || r.Missing != "" {
		t.Errorf("a sensor that reads: %+v", r)
	}
	for _, r := range rows[1:3] { // both come from the source that is forbidden
		if r.Value != nil || r.ReadUs != nil || r.Missing != "permission denied: run as root" {
			t.Errorf("a sensor that does not: %+v", r)
		}
	}
	if r := rows[3]; r.Missing != `got "lots", want a whole number` {
		t.Errorf("a sensor whose text is garbage: %+v", r)
	}
	if r := rows[4]; r.Missing != "it had no value when it was read" {
		t.Errorf("a sensor that says nothing: %+v", r)
	}
	if r := rows[5]; r.Sensor != "" || r.Source != "/p" || r.Missing != "no such driver" {
		t.Errorf("a source that is not there: %+v", r)
	}
}

// Both ends over a real connection.
func TestClientAgainstServer(t *testing.T) { onEach(t, clientAgainstServer) }

func clientAgainstServer(t *testing.T, h subject) {
	ls, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- Serve(ctx, ls, h, "", nil, slog.New(slog.DiscardHandler)) }()
	c, err := NewClient("http://" + ls[0].Addr().String() + "/")
	if err != nil {
		t.Fatal(err)
	}
	if r, err := c.StartRun(ctx, run.Start{Workload: "tile-sort"}); err != nil || r.Workload != "tile-sort" {
		t.Errorf("start: %+v, %v", r, err)
	}
	if d, err := c.StopRun(ctx, run.Stop{Results: map[string]run.Result{"fps": {Value: 3.5}}}); err != nil || d.Results["fps"].Value != 3.5 {
		t.Errorf("stop: %+v, %v", d, err)
	}
	if s, err := c.Declare(ctx, run.Named("quiet"), ""); err != nil || s.Setting.Name() != "quiet" {
		t.Errorf("declare: %+v, %v", s, err)
	}
	if s, err := c.Declare(ctx, run.Setting{}, ""); err != nil || s.Setting.Known() {
		t.Errorf("taken back: %+v, %v", s, err)
	}
	if s, err := c.Status(ctx); err != nil || s.Device != "unit-oak" {
		t.Errorf("status: %+v, %v", s, err)
	}
	if _, err := c.StartRun(ctx, run.Start{}); err == nil || err.Error() != "workload is empty" {
		t.Errorf("the agent's own sentence: %v", err)
	}
	if _, err := Listen(ls[0].Addr().String()); err == nil || !strings.Contains(err.Error(), "the port is in use") {
		t.Errorf("a second listener: %v", err)
	}
	cancel()
	if err := <-served; err != nil {
		t.Errorf("serve: %v", err)
	}
	if _, err := c.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "no agent answers at") || !strings.Contains(err.Error(), "sweepd agent") {
		t.Errorf("nobody there: %v", err)
	}
}

func TestKeptRuns(t *testing.T) { onEach(t, keptRuns) }

func keptRuns(t *testing.T, h subject) {
	at, length := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC), 60.0
	for i, supply := range []run.Supply{run.Mains, run.Battery} {
		d := run.Record{Run: run.Run{ID: fmt.Sprintf("019a0000-%d", i), State: run.Finished, StartedAt: run.Stamp(at), DurationS: &length,
			Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: supply, Variant: "cores=6"}}}
		if _, _, err := h.data.Import(t.Context(), "", contract.Sequence(d), nil); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		method, path, body string
		code               int
		says               string
	}{
		{"GET", "runs?supply=battery&variant=cores%3D6", "", 200, `[{"id":"019a0000-1"`},
		{"GET", "runs?device=unit-elm", "", 200, "[]"},
		{"GET", "runs?variant=cores", "", 400, "not a pair"},
		{"GET", "runs/00-1", "", 200, `"facts":{}`},
		{"GET", "runs/ffff", "", 404, "no such run"},
		{"GET", "runs/019a", "", 404, "fits several runs"},
		{"POST", "runs/00-1/results", `{"results":{"load":{"value":4}}}`, 200, `"load":{"value":4,"unit":"","better":"lower"}`},
		{"POST", "runs/00-1/results", `{"results":{"load":{}}}`, 400, "has no value"},
		{"POST", "runs/00-1/reject", `{"why":"an update ran"}`, 200, `"state":"rejected"`},
		{"POST", "runs/00-1/reject", `{}`, 400, "reason is empty"},
		{"POST", "runs/00-1/keep", `{"why":"it did not"}`, 200, `"state":"finished"`},
		{"POST", "runs/00-1/keep", `{"why":"again"}`, 409, "not rejected"},
		{"POST", "runs/ffff/keep", `{"why":"again"}`, 404, "no such run"},
		{"POST", "runs/00-1/results", `{"results":{"load":{"value":5}}}`, 200, `"load":{"value":5`},
		{"POST", "runs/00-1/results", `{"results":{"wait":{"value":7,"better":"lower"}}}`, 200, `"wait":{"value":7,"unit":"","better":"lower"}`},
		{"POST", "runs/00-1/results", `{"results":{"wait":{"value":8}}}`, 200, `"wait":{"value":8,"unit":"","better":"lower"}`},
		{"GET", "runs/00-0", "", 200, `"history":{"results":[],"decisions":[],"corrections":[]}`},
		{"GET", "runs/00-1", "", 200, `"history":{"results":[{"name":"load","result":{"value":4,`},
		{"GET", "runs/00-1", "", 200, `"what":"reject","who":"user","why":"an update ran"},{`},
		{"GET", "runs/00-1", "", 200, `"what":"keep","who":"user","why":"it did not"}]`},
	} {
		w := ask(h, c.method, "/api/v1/"+c.path, c.body, nil)
		if w.Code != c.code || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%s %s %s: %d %s, want %d with %s", c.method, c.path, c.body, w.Code, w.Body, c.code, c.says)
		}
	}
}

func TestReady(t *testing.T) {
	f := &fakeAgent{}
	h := newTestHandler(f)
	for query, says := range map[string]string{
		"supply=solar": "supply is mains or battery", "charge=1.01": "charge is a share from 0 to 1", "charge=-0.1": "charge is a share", "charge=lots": "charge is a share",
		"charge=NaN": "charge is a share", "setting=0W": "above 0",
	} {
		if w := ask(h, "GET", "/api/v1/ready?"+query, "", nil); w.Code != 400 || !strings.Contains(w.Body.String(), says) || f.asked > 0 {
			t.Errorf("%s: %d %s", query, w.Code, w.Body)
		}
	}
	if w := ask(h, "GET", "/api/v1/ready?supply=battery&charge=0.6&setting=25W", "", nil); w.Code != 200 || !strings.Contains(w.Body.String(), "hot battery") || f.wanted != (run.Want{Supply: run.Battery, MinCharge: 0.6, Setting: run.Watts(25)}) {
		t.Errorf("on battery: %d %s for %+v", w.Code, w.Body, f.wanted)
	}
	for _, charge := range []string{"0", "1"} {
		if w := ask(h, "GET", "/api/v1/ready?supply=mains&charge="+charge, "", nil); w.Code != 200 {
			t.Errorf("charge %s: %d %s", charge, w.Code, w.Body)
		}
	}
}

func TestWaitReady(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeAgent{}
		h := newTestHandler(f)
		c := &Client{base: "http://127.0.0.1:9745", http: http.Client{Transport: handlerTransport{h}}}
		told := 0
		start := time.Now()
		if _, err := testday.WaitReady(t.Context(), c, run.Want{}, true, func(r run.Readiness) { told += len(r.Reasons) }); err != nil {
			t.Fatal(err)
		}
		if told != 2 || time.Since(start) != 4*time.Second {
			t.Errorf("told %d times in %v", told, time.Since(start))
		}
		f.asked = 0
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := testday.WaitReady(ctx, c, run.Want{}, true, func(run.Readiness) {}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("given up: %v", err)
		}
	})
}

// handlerTransport asks a handler without a connection.
type handlerTransport struct{ h http.Handler }

func (x handlerTransport) RoundTrip(q *http.Request) (*http.Response, error) {
	w := httptest.NewRecorder()
	q.RemoteAddr, q.Host = "127.0.0.1:5", q.URL.Host
	x.h.ServeHTTP(w, q)
	return w.Result(), nil
}

func TestClientMeetsSomethingElse(t *testing.T) {
	for name, c := range map[string]struct {
		code int
		body string
		want string
	}{
		"another server": {404, "<html>not found</html>", "does not answer like a sweepd agent (status 404)"},
		"not JSON":       {200, "hello", "does not answer like a sweepd agent"},
		"a password":     {401, "Unauthorized", "USER:PASSWORD"},
	} {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(c.code)
			_, _ = io.WriteString(w, c.body)
		}))
		client, err := NewClient(s.URL)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := client.Status(t.Context()); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
		s.Close()
	}
	for _, url := range []string{"nowhere", "ftp://127.0.0.1", "http://", "http://a b"} {
		if _, err := NewClient(url); err == nil {
			t.Errorf("%q is taken for a URL", url)
		}
	}
}

func TestHugeHeadersAreRefused(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() {
		served <- Serve(ctx, []net.Listener{l}, newTestHandler(&fakeAgent{}), "", nil, slog.New(slog.DiscardHandler))
	}()
	conn, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	huge := bytes.Repeat([]byte("X-Long: "+strings.Repeat("y", 1000)+"\r\n"), 40)
	_, _ = conn.Write(append([]byte("GET /metrics HTTP/1.1\r\nHost: a\r\n"), huge...))
	answer := make([]byte, 12)
	if _, err := io.ReadFull(conn, answer); err != nil || string(answer) != "HTTP/1.1 431" {
		t.Errorf("40 kB of headers: %q, %v", answer, err)
	}
	cancel()
	if err := <-served; err != nil {
		t.Errorf("serve: %v", err)
	}
}

// A body that is not what it should be is told in words that know nothing of Go.
func TestRequestsInPlainWords(t *testing.T) {
	for body, want := range map[string]string{
		`{"workload": 5}`:                   "workload may not be a number, it is a string",
		`{"workload": ["tile-sort"]}`:       "workload may not be an array, it is a string",
		`[]`:                                "it is an array",
		`{"workload": "tile-sort"`:          "it ends too early",
		``:                                  "it is empty",
		`{"workload": tile-sort}`:           "no JSON from byte 15 on",
		`{"workload": "tile-sort", "w": 1}`: `unknown field "w"`,
		`{"workload": "a"} {"w": 1}`:        "more than one value",
	} {
		w := httptest.NewRecorder()
		var into struct {
			Workload string `json:"workload"`
		}
		if readJSON(w, httptest.NewRequest(http.MethodPost, "/api/v1/runs/start", strings.NewReader(body)), &into) || w.Code != http.StatusBadRequest ||
			!strings.Contains(w.Body.String(), strings.ReplaceAll(want, `"`, `\"`)) || strings.Contains(w.Body.String(), "Go ") {
			t.Errorf("%s: %d %s", body, w.Code, w.Body)
		}
	}
}
