package testday

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
)

// linked has a runner ask a link in this process.
type linked struct{ *RunnerLink }

func (l linked) RunnerBeat(ctx context.Context, b Beat) (Order, error) { return l.Beat(ctx, b) }

// start has a runner run until stop, which waits for its end.
func start(t *testing.T, r *Runner) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx) }()
	return func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}

// awaitRunner waits until one is there.
func awaitRunner(t *testing.T, l *RunnerLink) {
	t.Helper()
	if changed := l.Changed(); l.Runner() == nil {
		select {
		case <-changed:
		case <-time.After(20 * time.Second):
			t.Fatal("no runner came")
		}
	}
}

// What becomes of commands, with real processes: the failures are those of `run watch`.
func TestRunnerCarriesOut(t *testing.T) {
	t.Parallel() // it mostly waits
	withShell(t)
	l := NewRunnerLink(nil)
	var mu sync.Mutex
	var said []string
	var shown bytes.Buffer
	r := &Runner{Agent: linked{l}, User: "tester", Out: &shown, Say: func(s string) { mu.Lock(); said = append(said, s); mu.Unlock() }}
	defer start(t, r)()
	awaitRunner(t, l)
	dir := t.TempDir()
	for name, c := range map[string]struct {
		script   string
		timeout  float64
		failure  string
		missing  string
		score    float64
		left     bool
		unwanted string // file that must not be there afterwards
	}{
		"well":               {script: "echo score: 61.5", score: 61.5},
		"it has no input":    {script: "cat; echo score: 4", score: 4},
		"it fails":           {script: "echo score: 3; exit 3", score: 3, failure: `command "sh": exit status 3`},
		"it prints nothing":  {script: ":", missing: "no line of the output fits"},
		"it hangs":           {script: "echo score: 5; sleep 60; echo > hung", timeout: 0.3, score: 5, failure: "it took longer than its timeout of 300ms", unwanted: "hung"},
		"it leaves a child":  {script: "(sleep 60; echo > child) & echo score: 6", score: 6, left: true, unwanted: "child"},
		"it has no terminal": {script: "if (: < /dev/tty) 2> /dev/null; then echo score: 1; else echo score: 2; fi", score: 2},
	} {
		t.Run(name, func(t *testing.T) {
			begun := false
			j := Job{ID: name, Workload: "tile-sort", Command: []string{"sh", "-c", "cd '" + dir + "'; " + c.script}, ResultFrom: []string{"score=score: ([0-9.]+)"}, TimeoutS: c.timeout}
			d, err := l.Carry(t.Context(), j, func() { begun = true })
			if err != nil || !begun || d.Job != name || d.LeftBehind != c.left || d.Results["score"].Value != c.score || d.TookS <= 0 {
				t.Errorf("%+v, %v, begun %v", d, err, begun)
			}
			if (c.failure == "") != (d.Failure == "") || !strings.Contains(d.Failure, c.failure) {
				t.Errorf("failure %q, want %q", d.Failure, c.failure)
			}
			if c.missing != "" && !strings.Contains(d.Missing, c.missing) || c.missing == "" && d.Missing != "" {
				t.Errorf("missing %q, want %q", d.Missing, c.missing)
			}
			if c.score != 0 && d.Tail != fmt.Sprintf("score: %v\n", c.score) {
				t.Errorf("tail %q", d.Tail)
			}
			if _, err := os.Stat(filepath.Join(dir, c.unwanted)); c.unwanted != "" && err == nil {
				t.Errorf("%s went on", c.unwanted)
			}
		})
	}
	for name, j := range map[string]Job{
		"no such program": {Command: []string{"tile-sort-nowhere"}},
		"no command":      {Workload: "tile-sort"},
		"a bad rule":      {Command: []string{"true"}, ResultFrom: []string{"score"}},
	} {
		j.ID = name
		if d, err := l.Carry(t.Context(), j, func() { t.Errorf("%s began", name) }); err != nil || d.Failure == "" || d.Results == nil {
			t.Errorf("%s: %+v, %v", name, d, err)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	if text := strings.Join(said, "\n"); !strings.Contains(text, "tile-sort begins: sh -c") || !strings.Contains(text, "its command ended well; score=61.5") || !strings.Contains(shown.String(), "score: 61.5\n") {
		t.Errorf("said %s", text)
	}
}

// A job that is told to end, and one whose runner ends, is ended with all of its processes,
// also where it does not want to.
func TestRunnerEndsTheGroup(t *testing.T) {
	t.Parallel() // it mostly waits
	withShell(t)
	for name, c := range map[string]struct {
		deaf string
		end  func(cancel context.CancelCauseFunc, stop func())
	}{
		"told":             {`trap "" TERM;`, func(cancel context.CancelCauseFunc, _ func()) { cancel(errors.New("it is too hot")) }},
		"the runner ended": {"", func(_ context.CancelCauseFunc, stop func()) { stop() }},
	} {
		l := NewRunnerLink(nil)
		stop := sync.OnceFunc(start(t, &Runner{Agent: linked{l}}))
		awaitRunner(t, l)
		ctx, cancel := context.WithCancelCause(t.Context())
		pids := filepath.Join(t.TempDir(), "pids")
		script := `sh -c '` + c.deaf + ` echo $$ > "$0".new; mv "$0".new "$0"; while :; do sleep 0.05; done' '` + pids + `' & wait; wait`
		done := make(chan JobDone, 1)
		go func() {
			d, err := l.Carry(ctx, Job{ID: "j", Command: []string{"sh", "-c", script}}, func() {})
			if err != nil {
				t.Error(name, err)
			}
			done <- d
		}()
		var pid string
		for deadline := time.Now().Add(20 * time.Second); pid == "" && time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
			text, _ := os.ReadFile(pids) // not yet
			pid = strings.TrimSpace(string(text))
		}
		c.end(cancel, stop)
		d := <-done
		if name == "told" && !strings.HasPrefix(d.Failure, "it is too hot; command") || name != "told" && !strings.Contains(d.Failure, name) {
			t.Errorf("%s: failure %q", name, d.Failure)
		}
		if _, err := os.Stat("/proc/" + pid); err == nil && pid != "" {
			if state, _ := os.ReadFile("/proc/" + pid + "/stat"); !bytes.Contains(state, []byte(") Z ")) { // nobody may have cleared it away
				t.Errorf("%s: %s goes on: %s", name, pid, state)
			}
		}
		cancel(nil)
		stop()
	}
}

// flaky is an agent whose answers get lost, or that does not answer at all.
type flaky struct {
	RunnerAgent
	loses func() bool
	away  atomic.Bool
}

var errUnheard = errors.New("nothing listens there")

func (f *flaky) RunnerBeat(ctx context.Context, b Beat) (Order, error) {
	if f.away.Load() {
		return Order{}, errUnheard
	}
	o, err := f.RunnerAgent.RunnerBeat(ctx, b)
	if f.loses != nil && f.loses() || f.away.Load() {
		return Order{}, errUnheard
	}
	return o, err
}

// Whatever answers get lost, each job is carried out once, and its end is heard.
func TestRunnerLosesAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		random := rand.New(rand.NewPCG(3, 5))
		var mu sync.Mutex
		l := NewRunnerLink(nil)
		f := &flaky{RunnerAgent: linked{l}, loses: func() bool { mu.Lock(); defer mu.Unlock(); return random.IntN(3) == 0 }}
		times := map[string]int{}
		stop := start(t, &Runner{Agent: f, do: func(_ context.Context, j Job, begun func()) JobDone {
			begun()
			mu.Lock()
			times[j.ID]++
			wait := time.Duration(random.IntN(4000)) * time.Millisecond
			mu.Unlock()
			time.Sleep(wait)
			return JobDone{Results: map[string]run.Result{"score": {Value: 7}}}
		}})
		defer stop()
		for n := range 100 {
			awaitRunner(t, l)
			id := fmt.Sprint(n)
			d, err := l.Carry(t.Context(), Job{ID: id}, func() {})
			mu.Lock()
			if err != nil || d.Results["score"].Value != 7 || times[id] != 1 {
				t.Errorf("%s: %+v, %v, carried out %d times", id, d, err, times[id])
			}
			mu.Unlock()
		}
	})
}

// ticking is a job that goes on until it is told to end.
func ticking(ctx context.Context, _ Job, begun func()) JobDone {
	begun()
	<-ctx.Done()
	return JobDone{Failure: context.Cause(ctx).Error()}
}

// A runner that loses its agent ends the job after 5 s, and says so once it is there again.
func TestRunnerLosesTheAgent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := NewRunnerLink(nil)
		f := &flaky{RunnerAgent: linked{l}}
		ended := make(chan time.Time, 1)
		var said []string
		stop := start(t, &Runner{Agent: f, Say: func(s string) { said = append(said, s) }, do: func(ctx context.Context, j Job, begun func()) JobDone {
			d := ticking(ctx, j, begun)
			ended <- time.Now()
			return d
		}})
		awaitRunner(t, l)
		lost := make(chan error, 1)
		go func() { _, err := l.Carry(t.Context(), Job{ID: "j"}, func() {}); lost <- err }()
		time.Sleep(time.Minute)
		away := time.Now()
		f.away.Store(true)
		if took := (<-ended).Sub(away); took > runnerSilence || took < runnerSilence-2*busyWait {
			t.Errorf("it ended after %v", took)
		}
		var gone *RunnerLostError
		if err := <-lost; !errors.As(err, &gone) || time.Since(away) > runnerSilence+busyWait {
			t.Errorf("%v after %v", err, time.Since(away))
		}
		if l.Runner() != nil {
			t.Error("it counts as there")
		}
		f.away.Store(false)
		time.Sleep(2 * time.Second)
		if l.Runner() == nil || l.Runner().Busy {
			t.Errorf("%+v", l.Runner())
		}
		stop()
		if text := strings.Join(said, "\n"); strings.Count(text, "does not answer the runner: nothing listens there") != 1 || strings.Count(text, "answers again") != 1 || strings.Count(text, "ended after") != 1 {
			t.Errorf("said %s", text)
		}
		if l.Runner() != nil {
			t.Error("it left and counts as there")
		}
	})
}

// An agent that was killed knows nothing of the job of before: it is ended.
func TestJobOfAnAgentThatWasKilled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		before, after := NewRunnerLink(nil), NewRunnerLink(nil)
		var now atomic.Pointer[RunnerLink]
		now.Store(before)
		agent := agentFunc(func(ctx context.Context, b Beat) (Order, error) { return now.Load().Beat(ctx, b) })
		defer start(t, &Runner{Agent: agent, do: ticking})()
		awaitRunner(t, before)
		go func() { _, _ = before.Carry(t.Context(), Job{ID: "old"}, func() {}) }()
		time.Sleep(10 * time.Second)
		now.Store(after)
		awaitRunner(t, after)
		began := time.Now()
		time.Sleep(3 * time.Second)
		ctx, cancel := context.WithCancelCause(t.Context())
		time.AfterFunc(time.Second, func() { cancel(errors.New("enough")) })
		d, err := after.Carry(ctx, Job{ID: "new"}, func() {})
		if err != nil || d.Job != "new" || !strings.HasPrefix(d.Failure, "enough") || time.Since(began) > 10*time.Second {
			t.Errorf("%+v, %v after %v", d, err, time.Since(began))
		}
		time.Sleep(runnerSilence)
	})
}

type agentFunc func(context.Context, Beat) (Order, error)

func (f agentFunc) RunnerBeat(ctx context.Context, b Beat) (Order, error) { return f(ctx, b) }

// One runner is there at most; the other one takes over when it leaves, or is silent.
func TestOneRunner(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var heard atomic.Int64 // when, of the one that is there
		l := NewRunnerLink(func() { heard.Store(time.Now().UnixNano()) })
		f := &flaky{RunnerAgent: linked{l}}
		var said []string
		quick := func(_ context.Context, _ Job, begun func()) JobDone { begun(); return JobDone{} }
		first := start(t, &Runner{Agent: f, User: "one", do: quick})
		awaitRunner(t, l)
		second := start(t, &Runner{Agent: linked{l}, User: "two", Say: func(s string) { said = append(said, s) }, do: quick})
		time.Sleep(time.Minute)
		if r := l.Runner(); r.User != "one" {
			t.Errorf("%+v", r)
		}
		if _, err := l.Carry(t.Context(), Job{ID: "j"}, func() {}); err != nil {
			t.Error(err)
		}
		f.away.Store(true) // it is silent
		silent := time.Now()
		time.Sleep(idleWait + runnerSilence + spareEvery + time.Second)
		if r := l.Runner(); r == nil || r.User != "two" {
			t.Errorf("%+v", r)
		}
		if last := time.Unix(0, heard.Load()); last.Before(silent.Add(runnerSilence)) {
			t.Errorf("heard at %v", last)
		}
		f.away.Store(false)
		time.Sleep(idleWait + time.Second) // and the other one hears that it is wanted
		if r := l.Runner(); r == nil || r.User != "two" {
			t.Errorf("%+v", r)
		}
		second()
		time.Sleep(2 * spareEvery)
		if r := l.Runner(); r == nil || r.User != "one" {
			t.Errorf("%+v", r)
		}
		first()
		if len(said) != 2 || !strings.Contains(said[0], "another runner is there, which runs as one: this one waits") {
			t.Errorf("said %q", said)
		}
		var gone *RunnerLostError
		if _, err := l.Carry(t.Context(), Job{ID: "j"}, func() {}); !errors.As(err, &gone) {
			t.Errorf("without a runner: %v", err)
		}
	})
}

// A runner that goes silent with a job, that does not take one, or does not end one is lost.
func TestSilentRunners(t *testing.T) {
	for name, c := range map[string]struct {
		beats func(n int) *Beat // nil: silent from here on
		end   bool
		took  time.Duration
		why   string
	}{
		"silent":            {func(n int) *Beat { return []*Beat{{}, {Job: "j"}, nil}[min(n, 2)] }, false, runnerSilence + busyWait, "not heard of for 5s"},
		"never took it":     {func(n int) *Beat { return []*Beat{{}, nil}[min(n, 1)] }, false, runnerSilence, "not heard of for 5s"},
		"does not take it":  {func(int) *Beat { return &Beat{} }, false, runnerSilence, "does not have it"},
		"does not end it":   {func(n int) *Beat { return []*Beat{{}, {Job: "j"}}[min(n, 1)] }, true, endWait, "too hot; the runner did not say within 8s"},
		"forgot it":         {func(n int) *Beat { return []*Beat{{}, {Job: "j"}, {}}[min(n, 2)] }, false, runnerSilence, "does not have it"},
		"left with the job": {func(n int) *Beat { return []*Beat{{}, {Job: "j"}, {Leaves: true}, nil}[min(n, 3)] }, false, busyWait, "the runner ended"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := NewRunnerLink(nil)
				ctx, cancel := context.WithCancelCause(t.Context())
				defer cancel(nil)
				stop, silent := context.WithCancel(t.Context())
				var beating sync.WaitGroup
				defer func() { silent(); beating.Wait() }()
				beating.Go(func() {
					for n := 0; stop.Err() == nil; n++ {
						b := c.beats(n)
						if b == nil {
							return
						}
						b.Runner = "r"
						_, _ = l.Beat(stop, *b)
						if n > 1 {
							time.Sleep(time.Second) // it is told to start and to end again and again
						}
					}
				})
				awaitRunner(t, l)
				began := time.Now()
				if c.end {
					time.AfterFunc(0, func() { time.Sleep(time.Millisecond); cancel(errors.New("too hot")) })
				}
				d, err := l.Carry(ctx, Job{ID: "j"}, func() {})
				var lost *RunnerLostError
				if took := time.Since(began); !errors.As(err, &lost) || !strings.Contains(err.Error(), c.why) || took > c.took+time.Second || took < c.took-time.Second || d.Failure != err.Error() {
					t.Errorf("%+v, %v after %v", d, err, took)
				}
			})
		})
	}
}
