package testday

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"sweepd/run"
)

// RunnerAgent is the agent of a runner: a HandsOffAgent, in this process or at the other
// end of a connection.
type RunnerAgent interface {
	RunnerBeat(context.Context, Beat) (Order, error)
}

// Runner carries out the workloads of a day without hands, as the user that it runs as,
// where that user works: the agent has no desktop, and starts nothing. It takes commands
// from one agent alone, and from nobody else while that one is there.
//
// A command has no terminal and no input. It, and all of its process group, is ended when
// the agent says so, when its time is over, when the agent does not answer for 5 s, and
// when the runner ends.
type Runner struct {
	Agent RunnerAgent
	ID    string // no other runner's; empty: a random one
	User  string // that it says to run as
	// Say is told what the runner does, in sentences, one at a time; nil for nobody.
	Say func(text string)
	// Out is shown what commands print; nil for nobody.
	Out io.Writer
	// Passes tells whether an error of the agent may pass, as of one that is being
	// started; nil: each may. One that may not ends the runner.
	Passes func(error) bool

	do func(ctx context.Context, j Job, begun func()) JobDone // carries out a job; nil: carryOut
}

const (
	// A beat may take beatTimeout longer than it waits.
	beatTimeout = 2 * time.Second
	// againAfter is the pause after a beat that failed, spareEvery that of a runner that is
	// not wanted.
	againAfter = 500 * time.Millisecond
	spareEvery = 5 * time.Second
	// leaveWait is how long the last beat may take.
	leaveWait = 2 * time.Second
)

// answered is what came of a beat.
type answered struct {
	order Order
	err   error
}

// running is a runner while it runs.
type running struct {
	*Runner
	job   *jobIn
	done  *JobDone // that the agent has not confirmed yet
	begun bool     // the command of job, or of done, was started
	heard time.Time
	spare bool // another runner is there
	lost  bool // the agent does not answer, which was said
}

// jobIn is a job that is being carried out.
type jobIn struct {
	Job
	begun <-chan struct{} // closed when its command was started
	done  <-chan JobDone
	end   func(why string)
}

// Run carries out workloads until ctx ends, which ends the one in progress, or until the
// agent answers with an error that cannot pass.
func (r *Runner) Run(ctx context.Context) error {
	named := *r
	named.ID = cmp.Or(r.ID, rand.Text())
	x := &running{Runner: &named, heard: time.Now()}
	silence := time.NewTimer(runnerSilence)
	defer silence.Stop()
	pause := time.NewTimer(0)
	defer pause.Stop()
	var answer <-chan answered // of the beat under way
	hangUp := func() {}
	defer func() { hangUp() }()
	for {
		var begins <-chan struct{}
		var done <-chan JobDone
		if x.job != nil {
			if done = x.job.done; !x.begun {
				begins = x.job.begun
			}
		}
		select {
		case <-ctx.Done():
			hangUp()
			x.leave(ctx)
			return nil
		case <-pause.C:
			answer, hangUp = x.beat(ctx)
		case a := <-answer:
			hangUp()
			answer, hangUp = nil, func() {}
			wait, err := x.hear(ctx, a)
			if err != nil {
				x.leave(ctx)
				return err
			}
			silence.Reset(max(0, runnerSilence-time.Since(x.heard)))
			pause.Reset(wait)
		case <-begins:
			x.begun = true
			hangUp() // and beat again, to say so
		case d := <-done:
			x.ended(d)
			hangUp()
		case <-silence.C:
			if x.job != nil {
				x.job.end(fmt.Sprintf("the agent did not answer the runner for %v", runnerSilence))
			}
		}
	}
}

func (x *running) say(text string) {
	if x.Say != nil {
		x.Say(text)
	}
}

// ended is that the job has.
func (x *running) ended(d JobDone) {
	x.begun = isClosed(x.job.begun)
	x.job, x.done = nil, &d
	x.say(doneText(d))
}

// says is what the runner says now.
func (x *running) says() Beat {
	b := Beat{Runner: x.ID, User: x.User, Begun: x.begun, Done: x.done}
	if x.job != nil {
		b.Job = x.job.ID
	}
	return b
}

// beat says what the runner does, and gives what the agent answers; hangUp has it answer no
// more.
func (x *running) beat(ctx context.Context) (answer <-chan answered, hangUp context.CancelFunc) {
	b := x.says()
	wait := idleWait
	if b.Job != "" || b.Done != nil {
		wait = busyWait
	}
	ctx, hangUp = context.WithTimeout(ctx, wait+beatTimeout)
	c := make(chan answered, 1)
	go func() {
		o, err := x.Agent.RunnerBeat(ctx, b)
		if errors.Is(ctx.Err(), context.Canceled) && err != nil {
			err = errHungUp
		}
		c <- answered{o, err}
	}()
	return c, hangUp
}

// errHungUp is that the runner itself had something to say before an answer came.
var errHungUp = errors.New("hung up")

// hear does what the agent answered, and tells when to beat again.
func (x *running) hear(ctx context.Context, a answered) (wait time.Duration, err error) {
	switch {
	case a.err == errHungUp:
		return 0, nil
	case a.err != nil && x.Passes != nil && !x.Passes(a.err):
		return 0, a.err
	case a.err != nil:
		if !x.lost {
			x.lost = true
			x.say(fmt.Sprintf("the agent does not answer the runner: %v; it goes on trying", a.err))
		}
		return againAfter, nil
	}
	x.heard = time.Now()
	if x.lost {
		x.lost = false
		x.say("the agent answers again")
	}
	o := a.order
	if x.done != nil && o.Heard == x.done.Job {
		x.done = nil
	}
	if x.job != nil && o.End == x.job.ID {
		x.job.end("the agent told the runner to end it")
	}
	if spare := o.Why != ""; spare != x.spare {
		x.spare = spare
		if spare {
			x.say(o.Why + ": this one waits, and takes over when that one has left")
		} else {
			x.say("this runner carries out the workloads now")
		}
	}
	if o.Start != nil && x.job == nil && x.done == nil {
		x.job, x.begun = x.carry(ctx, *o.Start), false
		x.say(fmt.Sprintf("%s begins: %s", o.Start.Workload, run.Shorten(strings.Join(o.Start.Command, " "))))
	}
	if x.spare {
		return spareEvery, nil
	}
	return 0, nil
}

// leave ends what is being carried out, and tells the agent that the runner ends.
func (x *running) leave(ctx context.Context) {
	if x.job != nil {
		x.job.end("the runner ended")
		select {
		case d := <-x.job.done:
			x.ended(d)
		case <-time.After(endWait):
		}
	}
	b := x.says()
	b.Leaves = true
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), leaveWait)
	defer cancel()
	_, _ = x.Agent.RunnerBeat(ctx, b) // else it finds out within seconds
}

// carry carries out a job, which ends with ctx or by its end.
func (r *Runner) carry(ctx context.Context, j Job) *jobIn {
	ctx, cancel := context.WithCancelCause(context.WithoutCancel(ctx))
	begun, done := make(chan struct{}), make(chan JobDone, 1)
	go func() {
		defer cancel(nil)
		// Its command is killed where this thread ends.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		began := time.Now()
		do := r.do
		if do == nil {
			do = r.carryOut
		}
		d := do(ctx, j, func() { close(begun) })
		d.Job, d.TookS = j.ID, time.Since(began).Seconds()
		done <- d
	}()
	return &jobIn{Job: j, begun: begun, done: done, end: func(why string) { cancel(&toldToEnd{why}) }}
}

// jobMark begins the mark of what a job starts: the runner's id and the job's follow, so that no
// other runner's is meant.
const jobMark = "SWEEPD_JOB="

// carryOut carries out a job as `run watch` does a command.
func (r *Runner) carryOut(ctx context.Context, j Job, begun func()) (d JobDone) {
	d.Results = map[string]run.Result{}
	rules, err := ParseOutputRules(j.ResultFrom)
	if err == nil && len(j.Command) == 0 {
		err = fmt.Errorf("workload %s has no command", j.Workload)
	}
	if err != nil {
		d.Failure = err.Error()
		return d
	}
	program, err := lookFor(j.Command[0])
	if err != nil {
		d.Failure = fmt.Sprintf("command %q cannot be started: %v", run.Shorten(j.Command[0]), err)
		return d
	}
	shown := &tailed{to: r.Out}
	w := Watched{Command: j.Command, Rules: rules, Out: shown, Err: shown, alone: true, mark: jobMark + r.ID + "." + j.ID}
	output := rules.newOutput()
	c, err := w.start(program, output)
	if err != nil {
		d.Failure = err.Error()
		return d
	}
	begun()
	if j.TimeoutS > 0 {
		limit := time.Duration(j.TimeoutS * float64(time.Second))
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeoutCause(ctx, limit, &toldToEnd{fmt.Sprintf("it took longer than its timeout of %v", limit)})
		defer cancel()
	}
	d.Failure = c.await(ctx, nil)
	read := c.drained(outputWait)
	left := c.end() // what holds the output open is ended
	d.LeftBehind = left && c.ending == ""
	if !read {
		c.drained(lateOutputWait)
	}
	c.closePipes()
	results, missing := output.results()
	d.Results, d.Tail = results, shown.tail()
	if missing != nil {
		d.Missing = missing.Error()
	}
	return d
}

// doneText says how a job ended.
func doneText(d JobDone) string {
	var parts []string
	if d.Failure != "" {
		parts = append(parts, d.Failure)
	} else {
		parts = append(parts, "its command ended well")
	}
	for _, name := range slices.Sorted(maps.Keys(d.Results)) {
		parts = append(parts, typedResult(name, d.Results[name]))
	}
	if d.Missing != "" {
		parts = append(parts, d.Missing)
	}
	if d.LeftBehind {
		parts = append(parts, "it left processes behind, which were ended")
	}
	return fmt.Sprintf("ended after %.0f s: %s", d.TookS, strings.ReplaceAll(strings.Join(parts, "; "), "\n", "; "))
}

// tailed keeps the end of what is written, and passes it on. Writing never fails.
type tailed struct {
	to   io.Writer
	mu   sync.Mutex // guards text, and writing to to: a command writes output and errors at once
	text []byte
}

func (t *tailed) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = append(t.text, p[max(0, len(p)-mostTail):]...)
	t.text = t.text[max(0, len(t.text)-mostTail):]
	if t.to != nil {
		if _, err := t.to.Write(p); err != nil {
			t.to = nil // whoever looked has gone; the workload goes on
		}
	}
	return len(p), nil
}

// tail is the end of it, as it may be shown.
func (t *tailed) tail() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return run.VisibleLines(string(t.text))
}
