package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"sweepd/actuators"
	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/console"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// scriptedDay is a day without hands that does what a test says.
type scriptedDay struct {
	*testday.RunnerLink
	t       *testing.T
	command []string // of each job
	jobs    int      // until it is over; 0: it goes on until it is told to end

	mu     sync.Mutex // guards the rest
	agreed bool
	day    testday.HandsOff
	polls  int // how often it was asked how it stands
	asked  []testday.HandsOffRequest
	done   []testday.JobDone
	stop   context.CancelCauseFunc
	failed error // what asking for a day is answered
}

func (s *scriptedDay) HandsOff(context.Context) (testday.HandsOff, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.polls++
	d := s.day
	d.Runner = s.Runner()
	return d, nil
}

func (s *scriptedDay) BeginHandsOff(ctx context.Context, q testday.BeginHandsOff) (testday.HandsOff, error) {
	s.mu.Lock()
	s.agreed = s.agreed || q.Consent
	err := s.failed
	if err == nil && !s.agreed {
		err = &testday.ConsentError{Device: "unit-oak", Cautions: testday.Cautions()}
	}
	if err != nil {
		s.mu.Unlock()
		return testday.HandsOff{}, err
	}
	now := run.Stamp(time.Now())
	s.day.State, s.day.Text, s.day.By, s.day.BegunAt = testday.Waiting, "it waits for a runner", q.By, &now
	s.mu.Unlock()
	running, stop := context.WithCancelCause(context.Background())
	s.stop = stop
	s.t.Cleanup(func() { stop(errors.New("the test ended")) })
	go s.drive(running)
	return s.HandsOff(ctx)
}

// drive has jobs carried out until it is over.
func (s *scriptedDay) drive(ctx context.Context) {
	for n := 0; ctx.Err() == nil && (s.jobs == 0 || n < s.jobs); n++ {
		for changed := s.Changed(); s.Runner() == nil; changed = s.Changed() {
			select {
			case <-changed:
			case <-ctx.Done():
				return
			}
		}
		s.tell(testday.Running, fmt.Sprintf("run %d begins", n+1))
		d, err := s.Carry(ctx, testday.Job{ID: fmt.Sprint("job", n), Workload: "tile-sort", Command: s.command, ResultFrom: []string{"score=score: (.*)"}}, func() {})
		if err != nil {
			d.Failure = err.Error()
		}
		s.mu.Lock()
		s.done = append(s.done, d)
		s.mu.Unlock()
		s.tell(testday.Cooling, fmt.Sprintf("run %d ended", n+1))
	}
	s.mu.Lock()
	s.day.Summary = []string{"The day is over: all is done."}
	s.mu.Unlock()
	s.tell(testday.Over, "over")
}

func (s *scriptedDay) tell(state testday.HandsOffState, text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.day.State, s.day.Text = state, text
	s.day.Told = append(s.day.Told[:len(s.day.Told):len(s.day.Told)], testday.Told{At: run.Stamp(time.Now()), Text: text})
}

func (s *scriptedDay) ask(ctx context.Context, q testday.HandsOffRequest, change func(*testday.HandsOff)) (testday.HandsOff, error) {
	s.mu.Lock()
	s.asked = append(s.asked, q)
	change(&s.day)
	s.mu.Unlock()
	return s.HandsOff(ctx)
}

func (s *scriptedDay) PauseHandsOff(ctx context.Context, q testday.HandsOffRequest) (testday.HandsOff, error) {
	return s.ask(ctx, q, func(d *testday.HandsOff) { d.State, d.Why = testday.Paused, q.Why })
}

func (s *scriptedDay) ResumeHandsOff(ctx context.Context, q testday.HandsOffRequest) (testday.HandsOff, error) {
	return s.ask(ctx, q, func(d *testday.HandsOff) { d.State = testday.Running })
}

func (s *scriptedDay) StopHandsOff(ctx context.Context, q testday.HandsOffRequest) (testday.HandsOff, error) {
	return s.ask(ctx, q, func(d *testday.HandsOff) {
		d.Stopping = true
		if s.stop != nil {
			s.stop(errors.New("somebody stopped the day"))
		}
		if s.Runner() == nil && d.Run == "" {
			d.State, d.Summary = testday.Over, []string{"The day is over: somebody stopped it."}
		}
	})
}

func (s *scriptedDay) DryRunHandsOff(context.Context, testday.BeginHandsOff) (testday.DryRun, error) {
	watts := actuators.Write{Actuator: "firmware", Path: "/sys/class/firmware-attributes/x/attributes/ppt_pl1_spl/current_value", Text: "25", Was: "15"}
	command := actuators.Write{Actuator: "command", Command: []string{"fan", "at speed", "{}"}, Text: "3", Was: "1"}
	return testday.DryRun{
		Writes: []testday.DryWrite{{Value: "25W", Steps: []actuators.Write{watts}}, {Value: "15W", Steps: []actuators.Write{}}, {Value: "fan=3", Steps: []actuators.Write{command}}, {Value: "40W", Steps: []actuators.Write{}, Cannot: "the firmware takes at most 28 W"}},
		Hands:  []testday.DryHand{{What: "unplug", Times: 2}}, Lacks: []string{testday.NoRunner},
		Workloads: []testday.DryWorkload{{Workload: "tile-sort", Command: []string{"tile-sort", "--fast"}}, {Workload: "harbour-flight", Command: []string{}, Cannot: "the configuration has no command for it"}},
		Slots:     180, LeftS: 3 * 3600, Cautions: testday.Cautions(),
	}, nil
}

func (s *scriptedDay) RunnerBeat(ctx context.Context, b testday.Beat) (testday.Order, error) {
	return s.Beat(ctx, b)
}

// resting is an agent that does nothing.
type resting struct {
	testday.Recorder
	agent.Events
}

func (*resting) Live() run.Live {
	return run.Live{Sweeps: 1, Current: run.Labels{Device: "unit-oak"}, Now: run.Instant{Wall: time.Now()}}
}

func (r *resting) Subscribe(f func(run.Event)) *agent.Subscription { return r.Events.Subscribe(f) }
func (r *resting) Publish(c func() (run.Event, error)) error       { return r.Events.Publish(c) }
func (*resting) StoreEnded(context.Context) error                  { return nil }

// handsOffAgent answers as an agent with a day, which keeps its data in the folder.
func handsOffAgent(t *testing.T, data string, day testday.HandsOffAgent) {
	t.Helper()
	store, err := sqlite.Open(data, sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	token, err := console.NewToken(data)
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(console.New(console.Options{
		Agent: &resting{}, Store: store, Machine: collectors.NewSet(collectors.SetOptions{}), Token: token, Holder: holderOf(data, token.Path()), HandsOff: day, Version: currentVersion(),
		Open: func(readOnly bool) (console.Data, error) {
			return sqlite.Open(data, sqlite.Options{ReadOnly: readOnly})
		},
	}))
	t.Cleanup(func() {
		server.Close()
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	t.Setenv("SWEEPD_AGENT", server.URL)
}

func newScriptedDay(t *testing.T, script string) *scriptedDay {
	s := &scriptedDay{RunnerLink: testday.NewRunnerLink(nil), t: t, command: []string{"sh", "-c", script}}
	s.day = testday.HandsOff{State: testday.Idle, Hand: []string{}, Skipped: []testday.Skipped{}, Changed: []actuators.Write{}, Told: []testday.Told{}, Summary: []string{}, Progress: schedule.Counts{Done: 3, Left: 177}}
	return s
}

// asUser are the words by which a runner also runs as root, which tests may be.
func asUser(args ...string) []string {
	if os.Geteuid() == 0 {
		args = append(args, "--as-root")
	}
	return args
}

// A day from the first question to its end, in one terminal.
func TestPlanRunInATerminal(t *testing.T) {
	data := alone(t)
	s := newScriptedDay(t, "echo score: 7")
	s.jobs = 2
	handsOffAgent(t, data, s)
	if o := sweepd(t, asUser("plan", "run")...); o.code != exitFailed || !strings.Contains(o.stderr, "begin with --consent") || !strings.Contains(words(o.stderr), testday.Cautions()[0]) || s.agreed {
		t.Errorf("without a terminal: %+v", o)
	}
	if o := typedAt(t, "n\n", asUser("plan", "run")...); o.code != exitFailed || !strings.Contains(o.stderr, "nobody agreed, so nothing was begun") || s.agreed {
		t.Errorf("no: %+v", o)
	}
	o := typedAt(t, "y\n", asUser("plan", "run")...)
	if o.code != exitOK || !strings.Contains(o.out, "The day is over: all is done.") || !strings.Contains(o.stderr, "run 1 begins") || !strings.Contains(o.stderr, "run 2 ended") {
		t.Errorf("yes: %+v", o)
	}
	if len(s.done) != 2 || s.done[1].Results["score"].Value != 7 || s.done[1].Failure != "" || !strings.HasPrefix(s.day.By, "sweepd plan run") {
		t.Errorf("%+v by %s", s.done, s.day.By)
	}
	if s.Runner() != nil {
		t.Error("its runner is still there")
	}
}

// One that is ended ends what it carries out, and says what becomes of the day; typed again
// it shows the day that goes on.
func TestPlanRunIsEnded(t *testing.T) {
	data := alone(t)
	file := filepath.Join(t.TempDir(), "pid")
	s := newScriptedDay(t, "echo $$ > '"+file+"'; exec sleep 600")
	handsOffAgent(t, data, s)
	for n, begin := range [][]string{{"plan", "run", "--consent"}, {"plan", "run", "--show-output"}, {"plan", "runner"}} {
		ctx, cancel := context.WithCancel(t.Context())
		var out, stderr lockedBuffer
		ended := make(chan int, 1)
		_ = os.Remove(file)
		go func() { ended <- Run(ctx, asUser(begin...), strings.NewReader(""), &out, &stderr) }()
		var pid int
		eventually(t, "the workload runs", func() bool {
			text, _ := os.ReadFile(file) // not yet
			_, err := fmt.Sscan(string(text), &pid)
			return err == nil
		})
		cancel()
		if code := <-ended; code != exitOK {
			t.Errorf("%v: %d %s", begin, code, stderr.String())
		}
		if unix.Kill(pid, 0) == nil {
			t.Errorf("%v: its workload goes on", begin)
		}
		said := words(stderr.String())
		switch n {
		case 0, 1:
			wantWords(t, said, "nothing is carried out here any more", "`sweepd plan stop` ends it")
		case 2:
			wantWords(t, said, "waiting for workloads of the agent at http://127.0.0.1", "tile-sort begins: sh -c", "the runner ended")
		}
		if n == 1 {
			wantWords(t, said, "a day goes on already, since", "this shows it")
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if failure := s.done[0].Failure; !strings.Contains(failure, "the runner ended") {
		t.Errorf("%q", failure)
	}
}

// Ctrl-C at the terminal that carries out the workloads asks first.
func TestPlanRunAsksAtCtrlC(t *testing.T) {
	data := alone(t)
	s := newScriptedDay(t, "sleep 600")
	s.agreed = true
	handsOffAgent(t, data, s)
	var out, stderr lockedBuffer
	ended := make(chan int, 1)
	go func() {
		ended <- Run(t.Context(), asUser("plan", "run"), keyboard(t, "\ns\n"), &out, &stderr)
	}()
	eventually(t, "the workload runs", func() bool { return strings.Contains(stderr.String(), "run 1 begins") })
	interrupt := func() {
		t.Helper()
		asked := strings.Count(stderr.String(), "Which? [s/n/l]")
		if err := unix.Kill(os.Getpid(), unix.SIGINT); err != nil {
			t.Fatal(err)
		}
		eventually(t, "it asks", func() bool { return strings.Count(stderr.String(), "Which? [s/n/l]") > asked })
	}
	interrupt() // Enter: it goes on
	eventually(t, "it is answered", func() bool { return strings.Contains(stderr.String(), "it goes on\n") })
	interrupt() // s: it ends after this run
	if code := <-ended; code != exitOK || len(s.asked) != 1 || s.asked[0].Now {
		t.Errorf("%d, asked %+v: %s", code, s.asked, stderr.String())
	}
}

// A terminal that is closed changes nothing.
func TestPlanRunWhoseTerminalIsClosed(t *testing.T) {
	data := alone(t)
	file := filepath.Join(t.TempDir(), "go on")
	s := newScriptedDay(t, "until [ -e '"+file+"' ]; do sleep 0.01; done; echo score: 7")
	s.agreed, s.jobs = true, 2
	handsOffAgent(t, data, s)
	var out, stderr lockedBuffer
	ended := make(chan int, 1)
	go func() { ended <- Run(t.Context(), asUser("plan", "run"), strings.NewReader(""), &out, &stderr) }()
	eventually(t, "the workload runs", func() bool { return strings.Contains(stderr.String(), "run 1 begins") })
	polls := func() int { s.mu.Lock(); defer s.mu.Unlock(); return s.polls }
	before := polls()
	if err := unix.Kill(os.Getpid(), unix.SIGHUP); err != nil {
		t.Fatal(err)
	}
	eventually(t, "it looks on", func() bool { return polls() > before+1 })
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if code := <-ended; code != exitOK || len(s.done) != 2 || s.done[0].Failure != "" || s.done[1].Results["score"].Value != 7 {
		t.Errorf("%d, %+v: %s", code, s.done, stderr.String())
	}
}

// What people slip at.
func TestSlipsOfADayWithoutHands(t *testing.T) {
	data := alone(t)
	for _, args := range [][]string{{"plan", "run"}, {"plan", "run", "--dry-run"}, {"plan", "pause"}, {"plan", "stop", "--now"}} {
		if o := sweepd(t, asUser(args...)[:len(args)]...); o.code != exitFailed || !strings.Contains(o.stderr, "no agent answers") {
			t.Errorf("%v without an agent: %+v", args, o)
		}
	}
	s := newScriptedDay(t, ":")
	handsOffAgent(t, data, s)
	s.failed = errors.New("there is no plan: make one with `sweepd plan new`")
	for _, c := range []struct {
		typed string
		code  int
		says  string
	}{
		{"plan run --no-runner", exitFailed, "there is no plan"},
		{"plan stop", exitFailed, "no day without hands goes on: `sweepd plan run` begins one"},
		{"plan resume", exitFailed, "no day without hands goes on"},
		{"plan run --now", exitUsage, "`sweepd plan stop --now` ends a day at once"},
		{"plan run --yes", exitUsage, "--consent agrees to the cautions"},
		{"plan run --dryrun", exitUsage, "did you mean --dry-run?"},
		{"plan run 3", exitUsage, "one word too many"},
		{"plan pause --now", exitUsage, "`sweepd plan stop --now`"},
		{"plan puase", exitUsage, "did you mean pause?"},
		{"plan runer", exitUsage, "did you mean"},
		{"plan stop --why \x1b", exitUsage, "--why"},
	} {
		if o := sweepd(t, strings.Split(c.typed, " ")...); o.code != c.code || !strings.Contains(words(o.stderr), c.says) || strings.Contains(o.stderr, "\x1b") {
			t.Errorf("%s: %d %s", c.typed, o.code, o.stderr)
		}
	}
	if os.Geteuid() == 0 {
		for _, args := range [][]string{{"plan", "run"}, {"plan", "runner"}} {
			if o := sweepd(t, args...); o.code != exitFailed || !strings.Contains(o.stderr, "workloads are not carried out as root") {
				t.Errorf("%v as root: %+v", args, o)
			}
		}
	}
	// Twice, and too late.
	s.failed, s.agreed = nil, true
	var day testday.HandsOff
	if err := json.Unmarshal([]byte(must(t, "plan", "run", "--json")), &day); err != nil || day.State != testday.Waiting {
		t.Errorf("%+v, %v", day, err)
	}
	if out := must(t, "plan", "resume"); !strings.Contains(out, "it is not paused") {
		t.Errorf("resume: %s", out)
	}
	wantWords(t, must(t, "plan", "pause", "--why", "lunch"), "paused", "lunch", "`sweepd plan resume` goes on")
	wantWords(t, must(t, "plan", "pause"), "it is paused already")
	must(t, "plan", "resume")
	s.day.Run = "019a0000-0001"
	wantWords(t, words(must(t, "plan", "stop")), "it ends after this run a day without hands goes on")
	wantWords(t, words(must(t, "plan", "stop")), "it was told to end already, after this run; --now ends it at once")
	s.day.Run = ""
	if out := must(t, "plan", "stop"); out != "The day is over: somebody stopped it.\n" {
		t.Errorf("no run is recording: %s", out)
	}
	if o := sweepd(t, "plan", "stop"); o.code != exitFailed || !strings.Contains(o.stderr, "is over already") {
		t.Errorf("too late: %+v", o)
	}
	if n := len(s.asked); n != 7 {
		t.Errorf("asked %d times", n)
	}

	// An agent that can do none, and a user without the right.
	other := alone(t)
	handsOffAgent(t, other, nil)
	if o := sweepd(t, "plan", "run", "--no-runner"); o.code != exitFailed || !strings.Contains(o.stderr, "hands_off:") {
		t.Errorf("%+v", o)
	}
	handsOffAgent(t, other, s)
	if err := os.WriteFile(filepath.Join(other, "api.token"), []byte("guessed"), 0o600); err != nil {
		t.Fatal(err)
	}
	s.day.State = testday.Idle
	if o := sweepd(t, "plan", "run", "--no-runner"); o.code != exitFailed || !strings.Contains(o.stderr, "this changes what is kept in "+other) {
		t.Errorf("%+v", o)
	}
	if o := sweepd(t, asUser("plan", "runner")...); o.code != exitFailed || !strings.Contains(o.stderr, "this changes what is kept in "+other) {
		t.Errorf("%+v", o)
	}
}

// A dry run says what would be written where, with what is there now.
func TestPlanDryRun(t *testing.T) {
	data := alone(t)
	t.Setenv("COLUMNS", "120")
	handsOffAgent(t, data, newScriptedDay(t, ":"))
	out := must(t, asUser("plan", "run", "--dry-run")...)
	wantWords(t, words(out), "180 runs left of the plan, which take about 3 h 00 min",
		"25W firmware 15 25 /sys/class/firmware-attributes/x/attributes/ppt_pl1_spl/current_value",
		"15W nothing the device has it already", "fan=3 command 1 3 fan 'at speed' 3", "40W is not set by sweepd: the firmware takes at most 28 W",
		"Each is seen from what is there now", "unplug: twice", "tile-sort: tile-sort --fast", "harbour-flight: the configuration has no command for it", "somebody has to agree to this", testday.Cautions()[0])
	if strings.Contains(out, testday.NoRunner) {
		t.Errorf("it is a runner itself:\n%s", out)
	}
	wantWords(t, words(must(t, "plan", "run", "--dry-run", "--no-runner")), testday.NoRunner)
	var d testday.DryRun
	if err := json.Unmarshal([]byte(must(t, "plan", "run", "--dry-run", "--json")), &d); err != nil || d.Writes[0].Steps[0].Was != "15" {
		t.Errorf("%+v, %v", d, err)
	}
}

// While a day goes on, those who ask of other things are told.
func TestStatusOfADayWithoutHands(t *testing.T) {
	data := alone(t)
	s := newScriptedDay(t, ":")
	handsOffAgent(t, data, s)
	must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "8-28/4")
	if out := must(t, "plan", "next"); !strings.Contains(out, "sweepd run start") {
		t.Errorf("%s", out)
	}
	s.day.State, s.day.Hand, s.day.Position, s.day.Slots, s.day.Text = testday.Hand, []string{"unplug"}, 4, 12, "waiting for the plug"
	s.day.Changed = []actuators.Write{{Actuator: "firmware", Path: "/sys/limit/attributes/current_value", Text: "25", Was: "15"}}
	for _, args := range [][]string{{"status"}, {"plan", "status"}, {"plan", "next"}} {
		out := must(t, args...)
		wantWords(t, words(out), "a day without hands goes on: a hand is needed, 4. of 12 by hand: unplug", "attributes/current_value is 25, was 15", "no runner is there")
		if strings.Contains(out, "sweepd run start") {
			t.Errorf("%v: %s", args, out)
		}
	}
	var o testday.Overview
	if err := json.Unmarshal([]byte(must(t, "status", "--json")), &o); err != nil || o.HandsOff == nil || o.HandsOff.Hand[0] != "unplug" {
		t.Errorf("%+v, %v", o.HandsOff, err)
	}
	s.day.State, s.day.Summary = testday.Over, []string{"The day is over: somebody stopped it."}
	wantWords(t, words(must(t, "plan", "status")), "The day is over: somebody stopped it.", "NOT PUT BACK: /sys/limit/attributes/current_value is 25, was 15")
}

// A folder counts as the agent's own only where nobody else can have made it.
func TestPlantedFolders(t *testing.T) {
	dir := t.TempDir()
	mk := func(name string, mode os.FileMode) string {
		t.Helper()
		at := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(at, 0o700), os.Chmod(at, mode)); err != nil {
			t.Fatal(err)
		}
		return at
	}
	open, sticky := mk("open", 0o777), mk("sticky", 0o777|os.ModeSticky)
	for at, planted := range map[string]bool{mk("open/data", 0o700): true, mk("sticky/data", 0o700): false, mk("data", 0o2770): false, filepath.Join(dir, "none"): true, open: false, sticky: false} {
		if why := plantedBy(at); (why != "") != planted {
			t.Errorf("%s: %q", at, why)
		}
	}
	if os.Geteuid() != 0 {
		t.Skip("the rest needs folders of other users")
	}
	theirs := mk("theirs", 0o755)
	inTheirs, inSticky := mk("theirs/data", 0o755), mk("sticky/theirs", 0o755)
	for _, at := range []string{theirs, inSticky} {
		if err := os.Chown(at, 12345, 12345); err != nil {
			t.Fatal(err)
		}
	}
	for at, planted := range map[string]bool{theirs: false, inTheirs: true, inSticky: true} { // as of a service: root made the folder above
		if why := plantedBy(at); (why != "") != planted {
			t.Errorf("%s: %q", at, why)
		}
	}
	alone(t)
	if err := os.RemoveAll(inTheirs); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(inTheirs, 0o700); err != nil {
		t.Fatal(err)
	}
	handsOffAgent(t, inTheirs, newScriptedDay(t, ":"))
	for _, args := range [][]string{{"plan", "run"}, {"plan", "runner"}} {
		if o := sweepd(t, asUser(args...)...); o.code != exitFailed || !strings.Contains(o.stderr, theirs+" is 12345's: no workload is carried out for it") {
			t.Errorf("%v: %+v", args, o)
		}
	}
}
