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

// ErrNoRunner is that no program is there that carries out workloads.
var ErrNoRunner = errors.New("no runner is there that carries out workloads: `sweepd plan run` in a terminal is one, and `sweepd plan runner`")

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
	// withoutJob is after how many beats that say nothing of a job the runner has lost it.
	withoutJob = 3
)

// Bounds of what a runner says of itself and of a job, bytes.
const (
	mostTail    = 2 << 10
	mostFailure = 2 << 10
)

// RunnerLink is where the jobs of a day and the beats of its runner meet, in the agent. The
// zero value is one without a runner.
type RunnerLink struct {
	mu      sync.Mutex // guards all
	runner  string     // id of the one that is there, or was; "" for none
	user    string
	seen    time.Time // when it was heard of last
	waiting int       // beats of it that wait for something to tell
	out     *jobOut
	told    chan struct{} // closed when there is something to tell
}

var _ JobLink = (*RunnerLink)(nil)

// jobOut is a job that was handed to a runner.
type jobOut struct {
	Job
	done   chan JobDone
	taken  bool   // the runner has it
	lacked int    // beats in a row that did not say so
	end    string // why it is to end; "" where it is not
	watch  *time.Timer
}

// NewRunnerLink makes one.
func NewRunnerLink() *RunnerLink { return &RunnerLink{} }

// thereLocked tells whether the runner is there.
func (l *RunnerLink) thereLocked() bool {
	return l.runner != "" && (l.waiting > 0 && l.out == nil || time.Since(l.seen) < runnerSilence)
}

// Seen is the runner that is there, nil for none.
func (l *RunnerLink) Seen() *RunnerSeen {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.thereLocked() {
		return nil
	}
	seen := l.seen
	if l.waiting > 0 {
		seen = time.Now()
	}
	return &RunnerSeen{ID: l.runner, User: l.user, Seen: run.Stamp(seen), Busy: l.out != nil}
}

// Start hands a job to the runner, see JobLink.
func (l *RunnerLink) Start(j Job) (done <-chan JobDone, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.out != nil:
		return nil, fmt.Errorf("the runner is busy with %s", l.out.Workload)
	case !l.thereLocked():
		return nil, ErrNoRunner
	}
	o := &jobOut{Job: j, done: make(chan JobDone, 1)}
	l.seen = time.Now() // it answers from here on
	o.watch = time.AfterFunc(runnerSilence, func() { l.look(o) })
	l.out = o
	l.tellLocked()
	return o.done, nil
}

// look finds out whether the runner of a job is silent.
func (l *RunnerLink) look(o *jobOut) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.out != o {
		return
	}
	if left := runnerSilence - time.Since(l.seen); left > 0 && o.taken {
		o.watch.Reset(left)
		return
	}
	why := fmt.Sprintf("the runner was not heard of for %v", runnerSilence)
	if !o.taken {
		why = fmt.Sprintf("the runner did not begin it within %v", runnerSilence)
	}
	l.finishLocked(JobDone{Job: o.ID, Failure: joined(o.end, why)})
	l.runner = ""
}

// End has the runner end a job, see JobLink.
func (l *RunnerLink) End(job, why string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	o := l.out
	if o == nil || o.ID != job || o.end != "" {
		return
	}
	o.end = why
	if !o.taken { // a runner that takes it now is told that it is not out
		l.finishLocked(JobDone{Job: o.ID, Failure: joined(why, "it never began")})
		return
	}
	o.watch.Stop()
	o.watch = time.AfterFunc(endWait, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if l.out == o {
			l.finishLocked(JobDone{Job: o.ID, Failure: joined(why, fmt.Sprintf("its runner did not say within %v that it has ended", endWait))})
		}
	})
	l.tellLocked()
}

// finishLocked gives the job's end to whoever waits for it.
func (l *RunnerLink) finishLocked(d JobDone) {
	l.out.watch.Stop()
	d.Failure, d.Missing = first(d.Failure, mostFailure), first(d.Missing, mostFailure)
	d.Tail = last(d.Tail, mostTail)
	if d.Results == nil {
		d.Results = map[string]run.Result{}
	}
	l.out.done <- d // which has room
	l.out = nil
	l.tellLocked()
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
	if b.Runner == "" {
		return Order{}, requestError(errors.New("runner is missing: a random text that the runner keeps from its start to its end"))
	}
	if b.Leaves {
		return l.leaveLocked(b), nil
	}
	if l.runner != b.Runner && l.thereLocked() {
		return l.orderLocked(b), nil
	}
	if l.runner != b.Runner {
		l.goneLocked("its runner was not heard of any more, and another one came")
		l.runner, l.user, l.waiting = b.Runner, first(run.Visible(b.User), 100), 0
	}
	l.seen = time.Now()
	l.hearLocked(b)
	wait := time.NewTimer(idleWait)
	defer wait.Stop()
	if b.Job != "" || b.Done != nil {
		wait.Reset(busyWait)
	}
	for {
		if o := l.orderLocked(b); o != (Order{}) {
			return o, nil
		}
		if l.told == nil {
			l.told = make(chan struct{})
		}
		over, err := l.waitLocked(ctx, l.told, wait.C)
		if err != nil {
			return Order{}, err
		}
		if l.runner == b.Runner {
			l.seen = time.Now() // its connection is open
		}
		if over {
			return l.orderLocked(b), nil
		}
	}
}

// waitLocked waits without the lock for something to tell; over says that the wait is.
func (l *RunnerLink) waitLocked(ctx context.Context, told <-chan struct{}, wait <-chan time.Time) (over bool, err error) {
	runner := l.runner
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
	if l.runner == runner {
		l.waiting--
	}
	return over, err
}

// leaveLocked hears that a runner ends.
func (l *RunnerLink) leaveLocked(b Beat) (o Order) {
	if b.Done != nil {
		o.Heard = b.Done.Job
	}
	if l.runner != b.Runner {
		return o
	}
	l.hearLocked(b)
	l.goneLocked("its runner ended")
	l.tellLocked()
	return o
}

// goneLocked is that the runner is not there any more.
func (l *RunnerLink) goneLocked(why string) {
	if l.out != nil {
		l.finishLocked(JobDone{Job: l.out.ID, Failure: joined(l.out.end, why)})
	}
	l.runner = ""
}

// hearLocked takes what a beat says of the job that is out.
func (l *RunnerLink) hearLocked(b Beat) {
	o := l.out
	if o == nil {
		return
	}
	switch {
	case b.Done != nil && b.Done.Job == o.ID:
		d := *b.Done
		d.Failure = joined(o.end, d.Failure)
		l.finishLocked(d)
	case b.Job == o.ID:
		o.taken, o.lacked = true, 0
	case o.taken:
		if o.lacked++; o.lacked >= withoutJob {
			l.finishLocked(JobDone{Job: o.ID, Failure: joined(o.end, "its runner does not have it any more")})
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
		if l.runner != "" {
			order.Why = "another runner is there, which runs as " + l.user
		}
	case b.Job != "" && (o == nil || o.ID != b.Job || o.end != ""):
		order.End = b.Job
	case b.Job == "" && o != nil && !o.taken:
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

// first is the beginning of a text, at most so many bytes.
func first(text string, most int) string {
	if len(text) > most {
		return strings.ToValidUTF8(text[:most], "") + "…"
	}
	return text
}

// last is the end of a text, at most so many bytes.
func last(text string, most int) string {
	return strings.ToValidUTF8(text[max(0, len(text)-most):], "")
}
