package simlab_test

import (
	"context"
	"crypto/rand"
	"strings"
	"sync"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/testday"
)

// mishap is what goes wrong with a job.
type mishap struct {
	name     string
	tells    string        // what the log of the day says of it, a pattern; "": nothing needs to be said
	at       time.Duration // after the job began
	does     func()        // at that time; nil: nothing
	hangs    bool          // the workload ends when it is ended, and not before
	fails    bool
	noResult bool
	children bool // it leaves some behind
	killed   bool // the runner is, with its workload, and another one comes a minute later
}

// runner is a program that carries out workloads: as the real one, but the workload is
// played by the device.
type runner struct {
	l  *life
	id string

	mu   sync.Mutex
	job  string
	end  func()
	done *testday.JobDone
	dead bool
}

func newRunner(l *life) *runner { return &runner{l: l, id: rand.Text()} }

// live beats until its agent ends.
func (r *runner) live() {
	var jobs sync.WaitGroup
	defer jobs.Wait()
	for r.l.ctx.Err() == nil && !r.l.dead.Load() {
		r.mu.Lock()
		b := testday.Beat{Runner: r.id, User: "tester", Job: r.job, Begun: r.job != "", Done: r.done}
		dead := r.dead
		r.mu.Unlock()
		if dead { // somebody starts another one
			pass(r.l.ctx, time.Minute)
			r.mu.Lock()
			r.id, r.job, r.done, r.dead = rand.Text(), "", nil, false
			r.mu.Unlock()
			continue
		}
		o, err := r.l.day.RunnerBeat(r.l.ctx, b)
		if err != nil {
			time.Sleep(time.Second)
			continue
		}
		r.mu.Lock()
		if r.done != nil && o.Heard == r.done.Job {
			r.done = nil
		}
		if o.End != "" && o.End == r.job {
			r.end()
		}
		if o.Start != nil && r.job == "" && r.done == nil {
			ctx, cancel := context.WithCancel(r.l.ctx)
			r.job, r.end = o.Start.ID, cancel
			j := *o.Start
			jobs.Go(func() { defer cancel(); r.carryOut(ctx, j) })
		}
		r.mu.Unlock()
	}
}

// carryOut has the device play the workload, with what goes wrong.
func (r *runner) carryOut(ctx context.Context, j testday.Job) {
	w := r.l.w
	w.mu.Lock()
	w.jobs++
	n := w.jobs
	m := mishap{}
	if w.happens != nil {
		m = w.happens(n)
	}
	if m.name != "" {
		w.came++
		w.say("job %d of run %s: %s", n, run.ShortID(j.Run), m.name)
	}
	_ = w.catchUpLocked()
	w.device.StartWorkload(simdevice.HarbourFlight())
	w.mu.Unlock()
	began := time.Now()
	if m.does != nil {
		w.happening.Go(func() {
			time.Sleep(m.at)
			m.does()
		})
	}
	plays := w.options.plays
	if m.hangs {
		plays = time.Hour
	}
	if m.killed {
		plays = m.at
	}
	ended := !pass(ctx, plays)
	done := testday.JobDone{Job: j.ID, LeftBehind: m.children, TookS: time.Since(began).Seconds(), Results: map[string]run.Result{}}
	w.mu.Lock()
	_ = w.catchUpLocked()
	played, ok := w.device.StopWorkload()
	w.mu.Unlock()
	switch {
	case ended:
		done.Failure = "it was ended"
	case m.fails:
		done.Failure = "the command ended with exit status 3"
	case m.noResult:
		done.Missing = "result fps_mean: no line of the output fits"
	case ok:
		done.Results[played.Metric] = run.Result{Value: played.Value, Unit: played.Unit, Better: run.Higher}
	}
	r.mu.Lock()
	r.job, r.done = "", &done
	if m.killed {
		r.dead, r.done = true, nil
	}
	r.mu.Unlock()
}

// pass waits for a while; false where ctx ended before.
func pass(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// person is in reach: they do what the day asks for some time after it asked, and look
// after what a guard stopped.
func (w *world) person(ctx context.Context) {
	const late = 40 * time.Second
	for pass(ctx, late) {
		w.mu.Lock()
		l := w.life
		w.mu.Unlock()
		if l.dead.Load() {
			continue
		}
		h, err := l.day.HandsOff(ctx)
		if err != nil {
			continue
		}
		switch h.State {
		case testday.Hand:
			w.does(strings.Join(h.Hand, "; "))
		case testday.Paused:
			w.does("resume: " + h.Why)
			_, _ = l.day.ResumeHandsOff(ctx, testday.HandsOffRequest{By: "the page"})
		case testday.Over:
			return
		}
	}
}

// does does what is asked for with the plug, and resumes.
func (w *world) does(what string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.did = append(w.did, what)
	w.say("a person: %s", what)
	_ = w.catchUpLocked()
	switch {
	case strings.HasPrefix(what, "unplug"):
		w.device.Unplug()
	case strings.HasPrefix(what, "plug"):
		w.device.Plug()
	}
}
