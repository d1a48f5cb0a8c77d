package browser_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"sweepd/actuators"
	"sweepd/internal/browser"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/testday"
)

// handsOffDay stands before a live agent, and answers in its place for a day without hands:
// in any state, at once, also in those that take a real day hours to come to.
type handsOffDay struct {
	t   *testing.T
	url string

	mu      sync.Mutex // guards what follows, and writing to the streams
	state   *testday.HandsOff
	asked   []string // paths, with what was asked for
	streams map[*io.PipeWriter]bool
	held    chan struct{} // answers are kept back until it is closed; nil: none
}

const handsOffPath = "/api/v1/plan/run"

func newHandsOffDay(t *testing.T, agent string) *handsOffDay {
	d := &handsOffDay{t: t, streams: map[*io.PipeWriter]bool{}}
	to, err := url.Parse(agent)
	if err != nil {
		t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) { r.Out.URL.Scheme, r.Out.URL.Host = to.Scheme, to.Host },
		ModifyResponse: func(r *http.Response) error {
			if r.Request.URL.Path == "/api/v1/events" {
				r.Body = d.join(r.Body)
			}
			return nil
		},
	}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, handsOffPath) {
			d.answer(w, r)
			return
		}
		proxy.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	d.url = s.URL
	return d
}

// join has messages of the day come between those of the agent.
func (d *handsOffDay) join(from io.ReadCloser) io.ReadCloser {
	out, in := io.Pipe()
	d.mu.Lock()
	d.streams[in] = true
	d.mu.Unlock()
	go func() {
		defer from.Close()
		var message bytes.Buffer
		for r := bufio.NewReader(from); ; {
			line, err := r.ReadBytes('\n')
			message.Write(line)
			if len(line) == 1 || err != nil {
				if bytes.HasPrefix(message.Bytes(), []byte("event: day\n")) { // of the agent's own
					message.Reset()
				}
				d.mu.Lock()
				if _, e := in.Write(message.Bytes()); err == nil {
					err = e
				}
				if err != nil {
					delete(d.streams, in)
					_ = in.CloseWithError(err)
				}
				d.mu.Unlock()
				message.Reset()
			}
			if err != nil {
				return
			}
		}
	}()
	return out
}

// is has the day stand in a way from now on, and those who watch be told.
func (d *handsOffDay) is(h testday.HandsOff) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.state = &h
	text, _ := json.Marshal(h)
	for s := range d.streams {
		_, _ = fmt.Fprintf(s, "event: day\ndata: %s\n\n", text)
	}
}

func (d *handsOffDay) answer(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	d.mu.Lock()
	if r.Method == http.MethodPost {
		d.asked = append(d.asked, strings.TrimPrefix(r.URL.Path, handsOffPath)+" "+string(body))
	}
	var v any = d.state
	switch {
	case d.state == nil:
		w.Header().Set("Content-Type", "application/problem+json")
		w.WriteHeader(http.StatusNotFound)
		v = map[string]any{"detail": "this agent does no plan by itself: name what it may set, with limits, under hands_off: in its configuration", "kind": "no_hands_off", "status": 404}
	case r.URL.Path == handsOffPath+"/dry":
		v = dryRun()
	case r.Method == http.MethodPost && r.URL.Path == handsOffPath:
		h := idleDay()
		h.State, h.Text, h.Plan = testday.Waiting, "waiting until the device is fit to start: it cools down", 1
		d.state, v = &h, &h
	}
	text, _ := json.Marshal(v)
	held := d.held
	d.mu.Unlock()
	if held != nil {
		<-held
	}
	_, _ = w.Write(text)
}

// hold keeps answers back until the function that it returns is called.
func (d *handsOffDay) hold() (release func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	held := make(chan struct{})
	d.held = held
	return func() {
		d.mu.Lock()
		d.held = nil
		d.mu.Unlock()
		close(held)
	}
}

// wasAsked is what was asked for since the last time.
func (d *handsOffDay) wasAsked() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	list := d.asked
	d.asked = nil
	return list
}

func idleDay() testday.HandsOff {
	return testday.HandsOff{
		State: testday.Idle, Hand: []string{}, Skipped: []testday.Skipped{}, Changed: []actuators.Write{}, Told: []testday.Told{}, Summary: []string{},
		Device: "unit-oak", Progress: schedule.Counts{Left: 16, LeftS: 9000, ExpectedEnd: run.Stamp(time.Now().Add(150 * time.Minute))},
	}
}

// fullDay is one in the midst of its runs, of which everything is known.
func fullDay() testday.HandsOff {
	h := idleDay()
	at := run.Stamp(time.Now().Add(-20 * time.Minute))
	h.State, h.Text, h.Since, h.BegunAt, h.Plan = testday.Running, "run 0a60d31e is recorded", at, &at, 1
	h.Slot = &schedule.Slot{Cell: run.Cell{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(25), Supply: run.Mains, Variant: "cores=6"}, Pass: 1}
	h.Position, h.Slots, h.Try, h.Hands = 6, 16, 2, 1
	h.Progress.Done, h.Progress.Left = 5, 11
	h.Runner = &testday.RunnerSeen{ID: "a", User: "tester", Seen: at, Busy: true}
	h.Changed = []actuators.Write{
		{Actuator: "firmware", Path: "/sys/class/firmware-attributes/unit/attributes/ppt_pl1_spl/current_value", Text: "25", Was: "15"},
		{Actuator: "command", Command: []string{"/usr/local/bin/set-limit", "--watts", "{}"}, Text: "25", Was: "15"},
	}
	h.Skipped = []testday.Skipped{{Position: 3, Cell: "harbour-flight at 40W on mains", Why: "the firmware takes 28 W at most"}}
	for i := range 6 {
		h.Told = append(h.Told, testday.Told{At: at, Text: fmt.Sprintf("Sentence %d: the run counts, fps_mean 61.3 fps.", i+1)})
	}
	return h
}

func dryRun() testday.DryRun {
	const limit = "/sys/class/firmware-attributes/unit/attributes/ppt_pl1_spl/current_value"
	return testday.DryRun{
		Writes: []testday.DryWrite{
			{Value: "25W", Steps: []actuators.Write{{Actuator: "firmware", Path: limit, Text: "20", Was: "15"}, {Actuator: "firmware", Path: limit, Text: "25", Was: "20"}}},
			{Value: "40W", Steps: []actuators.Write{}, Cannot: "the firmware takes 28 W at most"},
		},
		Hands: []testday.DryHand{{What: "unplug the charger", Times: 2}}, Lacks: []string{"no runner is there, which starts the workloads: `sweepd plan runner` in the desktop session of the user who is to run them"}, Cautions: testday.Cautions(), Slots: 16, LeftS: 9000,
		Workloads: []testday.DryWorkload{{Workload: "tile-sort", Command: []string{"/usr/bin/tile-sort", "--frames", "1000"}}, {Workload: "harbour-flight", Command: []string{}, Cannot: "the configuration names no command for it under workloads"}},
	}
}

// TestHandsOffDay drives a day without hands from the page: what would be needed, cautions
// and consent, a hand that is needed, pause and stop, what is left at the end.
func TestHandsOffDay(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes half a minute")
	}
	t.Parallel()
	l := startLive(t)
	l.command("plan", "new", "--workload", "harbour-flight", "--workload", "tile-sort", "--settings", "10,15,20,25", "--repeats", "2", "--seed", "3")
	d := newHandsOffDay(t, l.url())
	p := browser.Start(t).NewPage()
	p.Before(noted)
	p.Size(360, 740, true)
	shows := func(selector, text string) {
		t.Helper()
		p.Await("document.querySelector('" + selector + "').checkVisibility() && document.querySelector('" + selector + "').innerText.includes(" + browser.Quoted(text) + ")")
	}
	// asked waits until something was asked of the day, and nothing else.
	asked := func(path string, with ...string) {
		t.Helper()
		var list []string
		for end := time.Now().Add(30 * time.Second); len(list) == 0 && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			list = d.wasAsked()
		}
		if len(list) != 1 || !strings.HasPrefix(list[0], path+" ") || slices.ContainsFunc(with, func(s string) bool { return !strings.Contains(list[0], s) }) {
			t.Errorf("asked for %q, not for %s with %q", list, path, with)
		}
	}
	hidden := func(selector string) {
		t.Helper()
		var is bool
		if err := p.Eval("!document.querySelector('"+selector+"').checkVisibility()", &is); err != nil || !is {
			t.Errorf("%s is in sight (%v)", selector, err)
		}
	}

	p.Open(d.url + "/#now")
	p.Await("window.glance && document.querySelector('#when input')")
	p.Click("#alerts summary")
	for _, label := range []string{"with a sound", "with vibration", "with a notification"} {
		p.Click("#how label: " + label)
	}
	p.Click("#when label: the plan that runs by itself")
	view(t, p, "day")
	shows("#hands-none", "under hands_off: in its configuration")
	hidden("#hands-begin")
	lookAt(t, p, "hands-none")

	d.is(idleDay())
	p.Click("#hands-begin")
	asked("/dry")
	shows("#sheet", "Never leave a charging or heavily loaded lithium battery unattended")
	shows("#sheet .writes", "firmware 15 → 20")
	shows("#sheet .writes", "the firmware takes 28 W at most")
	shows("#sheet", "unplug the charger (2 times)")
	shows("#sheet .doubt", "which starts the workloads: sweepd\u00a0plan runner in the desktop session")
	lookAt(t, p, "hands-begin")
	p.Click("#sheet button: Begin")
	shows("#sheet-said", "Tick that you have read")
	if list := d.wasAsked(); len(list) > 0 {
		t.Errorf("without consent it asks for %q", list)
	}
	p.Click("#sheet label: I have read this")
	p.Click("#sheet button: Begin")
	asked("", `"consent":true`, `"by":"the page"`)
	shows("#hands-text", "it cools down")
	p.Await("!document.querySelector('#sheet').open")

	// A hand is needed: told in each way that was chosen, and seen from each view.
	h := fullDay()
	h.State, h.Text, h.Hand = testday.Hand, "Run 7 of 16 waits for a hand.", []string{"unplug the charger", "choose 25W in the menu of the firmware"}
	if err := p.Eval("told.length = 0", nil); err != nil {
		t.Fatal(err)
	}
	d.is(h)
	p.Await("told.includes('notification: By hand now: unplug the charger; choose 25 W in the menu of the firmware') && told.includes('sound') && told.includes('vibration') && awake === 1")
	shows("#hand", "hoose 25 W in the menu of the firmware")
	shows("#what", "By hand: unplug the charger")
	p.Await("document.title.startsWith('By hand: unit-oak')")
	p.Click("#said button") // away
	lookAt(t, p, "hands-hand")
	view(t, p, "run")
	shows("#by-itself", "The plan runs by itself")
	hidden("#start")
	view(t, p, "day")

	// It is paused, goes on, and is stopped: at once only by a second tap.
	d.is(fullDay())
	shows("#hands-text", "Run 0a60d31e is recorded")
	shows("#hands-text", "6 of 16: tile-sort · 25 W")
	shows("#hands-left", "5 of 16 done; ends about")
	shows("#hands-told", "Sentence 6")
	p.Click("#hands-changed summary")
	shows("#hands-changed", "set-limit --watts 25")
	p.Click("#hands-skipped summary")
	shows("#hands-skipped", "40 W on mains\n")
	shows("#hands-skipped small", "the firmware takes 28 W at most")
	lookAt(t, p, "hands-on")
	p.Click("#hands-pause")
	asked("/pause", `"by":"the page"`)
	h = fullDay()
	h.Pausing = true
	d.is(h)
	shows("#hands-resume", "Do not pause")
	// An answer that news overtook is old.
	release := d.hold()
	p.Click("#hands-resume")
	asked("/resume")
	d.is(fullDay())
	shows("#hands-pause", "Pause after this run")
	release()
	shows("#said", "It goes on")
	shows("#hands-pause", "Pause after this run")
	p.Click("#hands-stop: Stop after this run")
	asked("/stop", `"now":false`)
	p.Click("#hands-now: Stop now")
	shows("#hands-now", "Tap again to stop now")
	if list := d.wasAsked(); len(list) > 0 {
		t.Errorf("one tap asks for %q", list)
	}
	time.Sleep(450 * time.Millisecond) // less is a double tap
	p.Click("#hands-now: Tap again")
	asked("/stop", `"now":true`)

	// The large Stop of a run of the day's is the same; a run of somebody else's is stopped as ever.
	l.command("run", "start", "--workload", "tile-sort", "--setting", "25W")
	view(t, p, "run")
	shows("#stop", "Stop")
	var id string
	if err := p.Eval("(async () => (await (await fetch('/api/v1/status')).json()).recording.id)()", &id); err != nil {
		t.Fatal(err)
	}
	h = fullDay()
	h.Run = id
	d.is(h)
	shows("#stop", "Stop now")
	time.Sleep(1100 * time.Millisecond) // see tooSoon in the page
	p.Click("#stop")
	shows("#stop", "Tap again to stop now")
	time.Sleep(450 * time.Millisecond)
	p.Click("#stop")
	asked("/stop", `"now":true`)
	l.command("run", "stop")

	// Over, or paused by a guard: what could not be put back is said.
	view(t, p, "day")
	if err := p.Eval("told.length = 0", nil); err != nil {
		t.Fatal(err)
	}
	h = fullDay()
	h.State, h.Text, h.Why = testday.Paused, "the first values are back", "the processor was at 96 °C, the limit is 95 °C"
	d.is(h)
	p.Await("told.includes('notification: The plan is paused: the processor was at 96 °C, the limit is 95 °C; not everything is put back yet')")
	shows("#hands-why .reject", "Not put back yet")
	lookAt(t, p, "hands-paused")
	h = fullDay()
	h.State, h.Text, h.Why, h.Changed = testday.Over, "the first values are back", "all runs are done", []actuators.Write{}
	h.Summary = []string{"15 of 16 runs count.", "1 was skipped: the firmware takes 28 W at most."}
	d.is(h)
	shows("#hands-why", "15 of 16 runs count.")
	shows("#hands-same", "Everything is set as it was found.")
	hidden("#hands-now")
	lookAt(t, p, "hands-over")
	p.Click("#hands-begin")
	asked("/dry")
	shows("#sheet label.tick:last-of-type", "Try again what was skipped")
	p.Press("Escape")
	if list := p.Complaints("Failed to load resource"); len(list) > 0 {
		t.Errorf("the page complains: %v", list)
	}
}
