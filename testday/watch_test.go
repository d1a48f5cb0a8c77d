package testday

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"sweepd/run"
)

// withShell skips the test on a machine without one.
func withShell(t *testing.T) {
	t.Helper()
	if _, err := exec.LookPath("sh"); err != nil {
		t.Skip("no shell")
	}
}

// watched is a script of the shell; a machine without one skips.
func watched(t *testing.T, script string, rules ...string) Watched {
	t.Helper()
	withShell(t)
	parsed, err := ParseOutputRules(rules)
	if err != nil {
		t.Fatal(err)
	}
	return Watched{Command: []string{"sh", "-c", script}, Rules: parsed, In: strings.NewReader("fps 61.5\n"), Out: &bytes.Buffer{}, Err: &bytes.Buffer{}}
}

func TestWatch(t *testing.T) {
	f := &fakeAgent{}
	w := watched(t, `cat; echo "load 4 s" >&2`, `fps=fps ([0-9.]+)`, `load=load (.*)`)
	w.Lower = []string{"load"}
	d, err := Watch(t.Context(), f, run.Start{Workload: "tile-sort"}, w)
	if err != nil || d.Results["fps"] != (run.Result{Value: 61.5}) || d.Results["load"] != (run.Result{Value: 4, Unit: "s", Better: run.Lower}) || d.Note != "" || d.Facts == nil {
		t.Errorf("%+v, %v", d, err)
	}
	if out, errs := w.Out.(*bytes.Buffer).String(), w.Err.(*bytes.Buffer).String(); out != "fps 61.5\n" || errs != "load 4 s\n" {
		t.Errorf("passed through %q and %q", out, errs)
	}
}

// failureOf is the text of the finding that the command failed.
func failureOf(d run.Record) string {
	for _, f := range d.Findings {
		if f.Code == run.CommandFailed {
			return f.Text
		}
	}
	return ""
}

// The run ends with the command, not with what it left behind in the background; what
// that prints shortly after still counts.
func TestWatchOfABackgroundChild(t *testing.T) {
	withShell(t)
	f := &fakeAgent{}
	stopped := filepath.Join(t.TempDir(), "stopped")
	a := stopSpy{f, func(run.Stop) {
		if err := os.WriteFile(stopped, nil, 0o600); err != nil {
			t.Error(err)
		}
	}}
	// The child says its result once the run is told to stop: where the run waits for the child, there is none.
	w := watched(t, `(until [ -e '`+stopped+`' ]; do sleep 0.01; done; echo "fps 61.5"; exec sleep 30) & echo ready`, `fps=fps ([0-9.]+)`)
	d, err := Watch(t.Context(), a, run.Start{}, w)
	if err != nil || d.Results["fps"].Value != 61.5 || failureOf(d) != "" || w.Out.(*bytes.Buffer).String() != "ready\nfps 61.5\n" {
		t.Errorf("%+v, %v; shown %q", d, err, w.Out)
	}
	if s := w.Err.(*bytes.Buffer).String(); !strings.Contains(s, `command "sh" left processes behind that hold its output`) {
		t.Errorf("said %q", s)
	}
}

// lateHolder takes its time to hold a run.
type lateHolder struct {
	*fakeAgent
	begun chan struct{} // closed when the command has begun
	early atomic.Bool   // it had before the run was held
}

func (l *lateHolder) HoldRun(ctx context.Context, id string, held func()) error {
	asked := time.Now()
	select {
	case <-l.begun:
		l.early.Store(time.Since(asked) < holdWait) // on a machine that is held up for so long nothing is shown
	case <-time.After(holdWait / 5):
	}
	return l.fakeAgent.HoldRun(ctx, id, held)
}

// The command begins when the run is held: else, where both are killed just then, it
// would be left recording.
func TestWatchHoldsTheRunFirst(t *testing.T) {
	l := &lateHolder{fakeAgent: &fakeAgent{}, begun: make(chan struct{})}
	w := watched(t, "echo begun")
	w.Out = writerFunc(func(p []byte) (int, error) { close(l.begun); return len(p), nil })
	if _, err := Watch(t.Context(), l, run.Start{}, w); err != nil || l.early.Load() {
		t.Errorf("it began before its run was held: %v, %v", l.early.Load(), err)
	}
}

// stopSpy hears of each stop before it is carried out.
type stopSpy struct {
	*fakeAgent
	hear func(run.Stop)
}

func (s stopSpy) StopRun(ctx context.Context, x run.Stop) (run.Record, error) {
	s.hear(x)
	return s.fakeAgent.StopRun(ctx, x)
}

// stolen is an agent whose run somebody else stops, and perhaps starts another, before
// the command ends.
type stolen struct {
	*fakeAgent
	next *run.Run
}

func (s stolen) Status(ctx context.Context) (Status, error) {
	if _, err := s.StopRun(ctx, run.Stop{}); err != nil {
		return Status{}, err
	}
	s.recording = s.next
	return s.fakeAgent.Status(ctx)
}

// A run that somebody else stops while the command runs is left as it is, and so is
// the next one.
func TestWatchOfARunThatSomebodyElseStops(t *testing.T) {
	for _, next := range []*run.Run{nil, {ID: "019a0000-0002"}} {
		a := stolen{&fakeAgent{}, next}
		w := watched(t, `echo "load 4.5s"; exit 3`, `load=load (.*)`)
		w.Lower = []string{"load"}
		d, err := Watch(t.Context(), a, run.Start{}, w)
		if d.ID != "" || err == nil || len(a.ended.Results) != 0 || failureOf(*a.ended) != "" || a.recording != next {
			t.Fatalf("%+v, %v; %+v", d, err, a.ended)
		}
		for _, part := range []string{"run 000-0001 was not recorded to the end of the command, which took ", "somebody else stopped it after 12.5 s, it is finished; no run was stopped or changed now",
			"add them with `sweepd run result 000-0001 \"load=4.5s\" --lower \"load\"`", "exit status 3"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%v lacks %q", err, part)
			}
		}
	}
}

// What cannot be passed on ends the command.
func TestWatchWhoseReaderLeaves(t *testing.T) {
	f := &fakeAgent{}
	w := watched(t, "echo ready; exec sleep 60")
	w.Out = writerFunc(func([]byte) (int, error) { return 0, io.ErrClosedPipe })
	d, err := Watch(t.Context(), f, run.Start{}, w)
	if err == nil || f.recording != nil || !strings.Contains(failureOf(d), "what it printed could not be passed on (io: read/write on closed pipe)") {
		t.Errorf("%+v, %v", d, err)
	}
}

func TestWatchThatFails(t *testing.T) {
	f := &fakeAgent{}
	d, err := Watch(t.Context(), f, run.Start{Workload: "tile-sort"}, watched(t, "exit 3", `fps=fps ([0-9.]+)`))
	if err == nil || d.ID == "" || failureOf(d) != `command "sh": exit status 3` || d.Note != "" || f.recording != nil {
		t.Errorf("%+v, %v", d, err)
	}
	for _, part := range []string{`command "sh": exit status 3; run 000-0001 is kept: reject it if it does not count`, "no line of the output fits"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%v lacks %q", err, part)
		}
	}
	w := watched(t, "true")
	w.Command = []string{"no-such-program"}
	if _, err := Watch(t.Context(), f, run.Start{}, w); err == nil || !strings.Contains(err.Error(), `command "no-such-program" cannot be started, so no run was`) || f.recording != nil {
		t.Errorf("no program: %v", err)
	}
	w.Command = []string{writeFile(t, "garbage", "\x00garbage")}
	if err := os.Chmod(w.Command[0], 0o700); err != nil {
		t.Fatal(err)
	}
	d, err = Watch(t.Context(), f, run.Start{}, w)
	if err == nil || d.ID == "" || !strings.Contains(failureOf(d), "could not be started: ") || f.recording != nil {
		t.Errorf("no program of this system: %+v, %v", d, err)
	}
	away := &fakeAgent{err: errAway}
	if d, err := Watch(t.Context(), away, run.Start{}, watched(t, "true")); !errors.Is(err, errAway) || d.ID != "" {
		t.Errorf("no agent: %+v, %v", d, err)
	}
}

// stopless is an agent that goes away while the command runs.
type stopless struct{ *fakeAgent }

func (s stopless) StopRun(context.Context, run.Stop) (run.Record, error) {
	return run.Record{Run: run.Run{ID: "x"}}, errAway
}

func TestWatchThatCannotStop(t *testing.T) {
	d, err := Watch(t.Context(), stopless{&fakeAgent{}}, run.Start{}, watched(t, "echo fps 61.5; exit 3", `fps=fps ([0-9.]+)`))
	if !errors.Is(err, errAway) || d.ID != "" || !strings.Contains(err.Error(), "run 000-0001 could not be stopped") || !strings.Contains(err.Error(), "exit status 3") ||
		!strings.Contains(err.Error(), "its results are added with `sweepd run result 000-0001 \"fps=61.5\"`") {
		t.Errorf("%+v, %v", d, err)
	}
}

// A run is stopped also where the user gave up.
func TestWatchGivenUp(t *testing.T) {
	f := &fakeAgent{}
	ctx, cancel := context.WithCancel(t.Context())
	w := watched(t, "echo ready; exec sleep 60")
	w.Out = writerFunc(func(p []byte) (int, error) { cancel(); return len(p), nil })
	d, err := Watch(ctx, f, run.Start{}, w)
	if err == nil || d.ID == "" || f.recording != nil || !strings.Contains(failureOf(d), "run watch was given up") {
		t.Errorf("%+v, %v", d, err)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

func TestOutputRulesRefused(t *testing.T) {
	for rule, want := range map[string]string{
		"fps": "is not NAME=REGEX", "=x(.)": "is empty", "fps=(": "rule for fps: the pattern \"(\" cannot be read: missing closing )", "fps=x": "no brackets around the number",
		"fps=$.": "rule for fps", "fps=$": "names nothing", "fps=$..a": "may lead to several values", "fps=$.a[*]": "may lead to several values",
	} {
		var request *RequestError
		if _, err := ParseOutputRules([]string{"ok=(.)", rule}); !errors.As(err, &request) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", rule, err, want)
		}
	}
}
