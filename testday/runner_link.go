package testday

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"sweepd/run"
)

// NoRunner says what lacks where no runner is there.
const NoRunner = "no runner is there, which starts the workloads: `sweepd plan runner` in the desktop session of the user who is to run them"

// RunnerLostError is that no program is there (any more) that carries out a workload.
type RunnerLostError struct{ Why string }

func (e *RunnerLostError) Error() string { return e.Why }

const (
	// runnerSilence is how long a runner that is not heard of counts as there, and how long
	// an agent that does not answer counts as there to a runner.
	runnerSilence = 5 * time.Second
	// busyWait is how long a beat of a runner with a job waits for something to tell it,
	// idleWait one of a runner without: its open connection says that it is there, and
	// a device at rest is woken as seldom as can be.
	busyWait = time.Second
	idleWait = 20 * time.Second
	// endWait is how long a runner may take to end a job: it kills what does not end by
	// itself, which takes it less.
	endWait = 8 * time.Second
)

// Bounds of what a runner says of itself and of a job, bytes.
const (
	mostUser = 100
	mostTail = 2 << 10
	mostSaid = 2 << 10
)

// RunnerLink is where the jobs of a day and the beats of its runner meet, in the agent.
type RunnerLink struct {
	heard   func()     // GuardWatch.Heard
	mu      sync.Mutex // guards the rest
	runner  string     // id of the one that is there; "" for none
	user    string
	seen    time.Time // when it was heard of last
	coming  int       // how many runners came so far
	waiting int       // beats of it that wait for something to tell
	silence *time.Timer
	out     *jobOut
	told    chan struct{} // closed when there is something to tell
	changed chan struct{} // closed when a runner comes or goes
}

var _ JobLink = (*RunnerLink)(nil)

// jobOut is a job that was handed to a runner.
type jobOut struct {
	Job
	done   chan JobDone  // takes its end once
	lost   error         // why there is none, before done is closed
	taken  chan struct{} // closed when the runner has it
	begun  chan struct{} // closed when its command was started
	had    time.Time     // when the runner said last that it has it, or was given it
	end    string        // why it is to end; "" where it is not
	ending *time.Timer   // until a runner that does not end it counts as lost
}

// NewRunnerLink makes one without a runner. heard is told, in passing, each time that the
// runner is heard of, and no other one that would like to be it; nil for nobody.
func NewRunnerLink(heard func()) *RunnerLink { return &RunnerLink{heard: heard} }

// isClosed tells whether a channel is closed to which nothing is sent.
func isClosed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// quietLocked is for how long nothing was heard of the runner; the open connection of one
// that has nothing to do is enough.
func (l *RunnerLink) quietLocked() time.Duration {
	if l.waiting > 0 && l.out == nil {
		return 0
	}
	return time.Since(l.seen)
}

// heardLocked is that the runner was heard of now.
func (l *RunnerLink) heardLocked() {
	l.seen = time.Now()
	if l.heard != nil {
		l.heard()
	}
	if l.silence == nil {
		l.silence = time.AfterFunc(runnerSilence, l.lookWhetherThere)
		return
	}
	l.silence.Reset(runnerSilence)
}

// lookWhetherThere finds out whether the runner is silent.
func (l *RunnerLink) lookWhetherThere() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.runner == "" {
		return
	}
	if left := runnerSilence - l.quietLocked(); left > 0 {
		l.silence.Reset(left)
		return
	}
	l.goneLocked(fmt.Sprintf("the runner was not heard of for %v", runnerSilence))
}

// Runner is the one that is there, nil for none.
func (l *RunnerLink) Runner() *RunnerSeen {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.runner == "" {
		return nil
	}
	seen := l.seen
	if l.waiting > 0 {
		seen = time.Now()
	}
	return &RunnerSeen{ID: l.runner, User: l.user, Seen: run.Stamp(seen), Busy: l.out != nil}
}

// Changed is closed when a runner next comes or goes.
func (l *RunnerLink) Changed() <-chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.changed == nil {
		l.changed = make(chan struct{})
	}
	return l.changed
}

// Carry has the runner carry out a job, see JobLink.
func (l *RunnerLink) Carry(ctx context.Context, j Job, begun func()) (JobDone, error) {
	o, err := l.hand(j)
	if err != nil {
		return JobDone{}, err
	}
	begins, ended := o.begun, ctx.Done()
	for {
		select {
		case d, ok := <-o.done:
			if !ok {
				return JobDone{Job: o.ID, Failure: o.lost.Error(), Results: map[string]run.Result{}}, o.lost
			}
			if begins != nil && isClosed(o.begun) {
				begun()
			}
			return d, nil
		case <-begins:
			begins = nil
			begun()
		case <-ended:
			ended = nil
			l.endJob(o, context.Cause(ctx).Error())
		}
	}
}

// hand hands a job to the runner.
func (l *RunnerLink) hand(j Job) (*jobOut, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.out != nil:
		return nil, fmt.Errorf("the runner is busy with %s", l.out.Workload)
	case l.runner == "":
		return nil, &RunnerLostError{NoRunner}
	}
	l.heardLocked() // it has 5 s to take it
	l.out = &jobOut{Job: j, had: time.Now(), done: make(chan JobDone, 1), taken: make(chan struct{}), begun: make(chan struct{})}
	l.tellLocked()
	return l.out, nil
}

// endJob has the runner end a job.
func (l *RunnerLink) endJob(o *jobOut, why string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.out != o || o.end != "":
		return
	case !isClosed(o.taken): // a runner that takes it now is told that it is not out
		l.finishLocked(JobDone{Job: o.ID, Failure: joined(why, "its command was not started")})
		return
	}
	o.end = why
	o.ending = time.AfterFunc(endWait, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if l.out == o {
			l.loseLocked(fmt.Sprintf("%s; the runner did not say within %v that it has ended", why, endWait))
		}
	})
	l.tellLocked()
}

// finishLocked gives the job's end to whoever waits for it.
func (l *RunnerLink) finishLocked(d JobDone) {
	d.Failure, d.Missing = beginOf(d.Failure, mostSaid), beginOf(d.Missing, mostSaid)
	d.Tail = endOfText(d.Tail, mostTail)
	if d.Results == nil {
		d.Results = map[string]run.Result{}
	}
	l.out.done <- d // which has room
	l.forgetLocked()
}

// loseLocked says that the end of the job is not known.
func (l *RunnerLink) loseLocked(why string) {
	l.out.lost = &RunnerLostError{why}
	close(l.out.done)
	l.forgetLocked()
}

func (l *RunnerLink) forgetLocked() {
	if l.out.ending != nil {
		l.out.ending.Stop()
	}
	l.out = nil
	l.tellLocked()
}

// goneLocked is that the runner is not there any more.
func (l *RunnerLink) goneLocked(why string) {
	if l.out != nil {
		l.loseLocked(joined(l.out.end, why))
	}
	l.runner, l.waiting = "", 0
	l.changedLocked()
}

func (l *RunnerLink) changedLocked() {
	if l.changed != nil {
		close(l.changed)
		l.changed = nil
	}
}

// tellLocked wakes the beats that wait.
func (l *RunnerLink) tellLocked() {
	if l.told != nil {
		close(l.told)
		l.told = nil
	}
}

// Beat hears what a runner does, and answers when there is something to tell it or its wait
// is over, see JobLink.
func (l *RunnerLink) Beat(ctx context.Context, b Beat) (Order, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case b.Runner == "":
		return Order{}, requestError(errors.New("runner is missing: a random text that the runner keeps from its start to its end"))
	case b.Leaves:
		return l.leaveLocked(b), nil
	case l.runner == "":
		l.runner, l.user = b.Runner, beginOf(run.Visible(b.User), mostUser)
		l.coming++
		l.changedLocked()
	case l.runner != b.Runner:
		return l.orderLocked(b), nil
	}
	l.heardLocked()
	l.hearLocked(b)
	length := idleWait
	if b.Job != "" || b.Done != nil || l.out != nil {
		length = busyWait
	}
	wait := time.NewTimer(length)
	defer wait.Stop()
	for {
		if o := l.orderLocked(b); o != (Order{}) {
			return o, nil
		}
		if over, err := l.waitLocked(ctx, wait.C); err != nil || over {
			return l.orderLocked(b), err
		}
	}
}

// waitLocked waits, without the lock, for something to tell the runner; over says that it
// took too long.
func (l *RunnerLink) waitLocked(ctx context.Context, wait <-chan time.Time) (over bool, err error) {
	if l.told == nil {
		l.told = make(chan struct{})
	}
	told, coming := l.told, l.coming
	l.waiting++
	l.mu.Unlock()
	select {
	case <-told:
	case <-wait:
		over = true
	case <-ctx.Done(): // it hung up, or the agent ends
		err = ctx.Err()
	}
	l.mu.Lock()
	if l.runner != "" && l.coming == coming {
		l.waiting--
		l.heardLocked() // until now its connection was open
	}
	return over, err
}

// leaveLocked hears that a runner ends.
func (l *RunnerLink) leaveLocked(b Beat) (o Order) {
	if b.Done != nil {
		o.Heard = b.Done.Job
	}
	if l.runner == b.Runner {
		l.hearLocked(b)
		l.goneLocked("the runner ended")
		l.tellLocked()
	}
	return o
}

// hearLocked takes what a beat says of the job that is out.
func (l *RunnerLink) hearLocked(b Beat) {
	o := l.out
	if o == nil {
		return
	}
	switch {
	case b.Done != nil && b.Done.Job == o.ID:
		if b.Begun && !isClosed(o.begun) {
			close(o.begun)
		}
		d := *b.Done
		d.Failure = joined(o.end, d.Failure)
		l.finishLocked(d)
	case b.Job == o.ID:
		o.had = time.Now()
		if !isClosed(o.taken) {
			close(o.taken)
		}
		if b.Begun && !isClosed(o.begun) {
			close(o.begun)
		}
	default:
		if time.Since(o.had) >= runnerSilence {
			l.loseLocked(joined(o.end, "the runner does not have it"))
		}
	}
}

// orderLocked is what there is to tell to whom a beat is from.
func (l *RunnerLink) orderLocked(b Beat) (order Order) {
	if b.Done != nil {
		order.Heard = b.Done.Job // one that is not out is heard, too: it is not said again
	}
	o := l.out
	switch {
	case l.runner != b.Runner:
		order.End = b.Job
		order.Why = "another runner is there"
		if l.runner != "" {
			order.Why += ", which runs as " + l.user
		}
	case b.Job != "" && (o == nil || o.ID != b.Job || o.end != ""):
		order.End = b.Job
	case b.Job == "" && o != nil && !isClosed(o.taken):
		order.Start = &o.Job
	}
	return order
}

// joined are two reasons as one; either may be empty.
func joined(why, more string) string {
	if why == "" || more == "" {
		return why + more
	}
	return why + "; " + more
}

// beginOf is the beginning of a text, at most so many bytes.
func beginOf(text string, most int) string {
	if len(text) > most {
		return strings.ToValidUTF8(text[:most], "") + "…"
	}
	return text
}

// endOfText is the end of a text, at most so many bytes.
func endOfText(text string, most int) string {
	return strings.ToValidUTF8(text[max(0, len(text)-most):], "")
}
