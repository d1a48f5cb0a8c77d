package testday

import (
	"bytes"
	"context"
	"errors"
	"os/exec"
	"strings"
	"testing"

	"sweepd/run"
)

// watched is a script of the shell; a machine without one skips.
func watched(t *testing.T, script string, rules ...string) Watched {
	t.Helper()
	if _, err := exec.LookPath("sh"); err != nil {
		t.Skip("no shell")
	}
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

func TestWatchThatFails(t *testing.T) {
	f := &fakeAgent{}
	d, err := Watch(t.Context(), f, run.Start{Workload: "tile-sort"}, watched(t, "exit 3", `fps=fps ([0-9.]+)`))
	if err == nil || d.ID == "" || d.Note != "command sh: exit status 3" || f.recording != nil {
		t.Errorf("%+v, %v", d, err)
	}
	for _, part := range []string{"command sh: exit status 3; run 000-0001 is kept: reject it if it does not count", "no line of the output fits"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%v lacks %q", err, part)
		}
	}
	w := watched(t, "true")
	w.Command = []string{"no-such-program"}
	if _, err := Watch(t.Context(), f, run.Start{}, w); err == nil || !strings.Contains(err.Error(), `command "no-such-program" cannot be started`) || f.recording != nil {
		t.Errorf("no program: %v", err)
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
	d, err := Watch(t.Context(), stopless{&fakeAgent{}}, run.Start{}, watched(t, "exit 3"))
	if !errors.Is(err, errAway) || d.ID != "" || !strings.Contains(err.Error(), "run 000-0001 could not be stopped") || !strings.Contains(err.Error(), "exit status 3") {
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
	if err == nil || d.ID == "" || f.recording != nil || !strings.Contains(d.Note, "interrupt") {
		t.Errorf("%+v, %v", d, err)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

func TestOutputRulesRefused(t *testing.T) {
	for rule, want := range map[string]string{
		"fps": "is not NAME=REGEX", "=x(.)": "is empty", "fps=(": "rule for fps: error parsing regexp", "fps=x": "no brackets around the number",
		"fps=$.": "rule for fps", "fps=$": "names nothing", "fps=$..a": "may lead to several values", "fps=$.a[*]": "may lead to several values",
	} {
		var request *RequestError
		if _, err := ParseOutputRules([]string{"ok=(.)", rule}); !errors.As(err, &request) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", rule, err, want)
		}
	}
}
