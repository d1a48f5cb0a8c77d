package testday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/run"
)

// Watched is a command around which a run is recorded.
type Watched struct {
	Command []string // the program and what it is given
	Rules   *OutputRules
	Lower   []string // results of which less is better
	// In is the command's standard input, Out and Err are shown what it prints.
	In       io.Reader
	Out, Err io.Writer

	alone bool   // nobody sits there: a runner's
	mark  string // in the environment of the command and all that it starts, NAME=VALUE; "" for none
}

// WatchedAgent is an agent that also ends a run by itself where its watch is gone.
type WatchedAgent interface {
	Agent
	// HoldRun holds on to a run until ctx ends, and calls held when the agent says that
	// it does; an older agent does not say so. Where the caller goes away without ending
	// ctx, as a process does that is killed, the agent stops the run.
	HoldRun(ctx context.Context, id string, held func()) error
}

// Watch starts a run, carries out the command and stops the run when the command
// ends, whatever became of it, and no other run. Signals that end this process end the
// command and all that it started. The record is the run's, with an empty id where none
// was kept to the command's end. The error says, beside what went wrong with the run,
// that the command failed or that results were not in its output.
func Watch(ctx context.Context, a WatchedAgent, start run.Start, w Watched) (d run.Record, err error) {
	program, err := FindCommand(w.Command[0])
	if err != nil {
		return d, err
	}
	signals, stopSignals := EndingSignals()
	defer stopSignals()
	r, err := a.StartRun(ctx, start)
	if err != nil {
		return d, err
	}
	release := hold(context.WithoutCancel(ctx), a, r.ID)
	defer release()

	began := time.Now()
	output := w.Rules.newOutput()
	c, err := w.start(program, output)
	if err != nil {
		d, serr := Stop(context.WithoutCancel(ctx), a, run.Stop{Run: r.ID, Failure: err.Error(), By: ByWatch})
		if serr != nil {
			d = run.Record{}
		}
		return d, errors.Join(fmt.Errorf("%w; run %s is kept: reject it if it does not count", err, run.ShortID(r.ID)), serr)
	}
	defer c.close()
	failure := c.await(ctx, signals)
	took := time.Since(began)
	return w.finish(context.WithoutCancel(ctx), a, r, c, run.Stop{Run: r.ID, Failure: failure, By: ByWatch}, took)
}

// holdWait is how long a command waits for the agent to hold its run: an older one does
// not say that it does.
const holdWait = 500 * time.Millisecond

// hold holds on to a run until it is released. It returns once the agent does, so that no
// run is left recording where this process is killed when its command has just begun.
func hold(ctx context.Context, a WatchedAgent, id string) (release context.CancelFunc) {
	ctx, release = context.WithCancel(ctx)
	held, answered := context.WithTimeout(ctx, holdWait)
	go func() {
		defer answered() // an agent that is gone has ended the run
		_ = a.HoldRun(ctx, id, answered)
	}()
	<-held.Done()
	return release
}

// FindCommand finds the program that a command names; where there is none, no run is to be
// started for it.
func FindCommand(name string) (program string, err error) {
	if program, err = lookFor(name); err != nil {
		err = fmt.Errorf("command %q cannot be started, so no run was: %w", run.Shorten(name), err)
	}
	return program, err
}

// lookFor finds the program of a command.
func lookFor(name string) (program string, err error) {
	program, err = exec.LookPath(name)
	if errors.Is(err, exec.ErrNotFound) {
		err = errors.New("there is no program of that name (looked for in PATH)")
	}
	return program, err
}

// What the command printed is in the pipe when it ends. Where a process that it left
// behind holds the pipe open, the run does not wait for the rest of it.
const (
	outputWait     = 100 * time.Millisecond
	lateOutputWait = 2 * time.Second
)

// finish stops the run of a command that has ended.
func (w Watched) finish(ctx context.Context, a WatchedAgent, r run.Run, c *command, stop run.Stop, took time.Duration) (d run.Record, err error) {
	if s, err := a.Status(ctx); err == nil && (s.Recording == nil || s.Recording.ID != r.ID) {
		c.drained(lateOutputWait)
		results, _ := w.results(c.output)
		return d, notWatchedToTheEnd(ctx, a, r, results, stop.Failure, took)
	}
	if !c.drained(outputWait) {
		_, _ = Stop(ctx, a, stop) // said below, when it fails again
		if !c.drained(lateOutputWait) {
			fmt.Fprintf(w.Err, "command %s left processes behind that hold its output; the run ended with the command, and they are ended\n", c.name)
		}
	}
	var missing, failed error
	stop.Results, missing = w.results(c.output)
	if stop.Failure != "" {
		failed = fmt.Errorf("%s; run %s is kept: reject it if it does not count", stop.Failure, run.ShortID(r.ID))
	}
	d, err = Stop(ctx, a, stop)
	var kept *run.NotStoredError
	if errors.As(err, &kept) {
		return run.Record{}, errors.Join(err, failed, missing)
	}
	if err != nil {
		err = fmt.Errorf("run %s could not be stopped: %w%s", run.ShortID(r.ID), err, offer("; when it is, its results are added with", r.ID, stop.Results))
		if stop.Failure != "" {
			failed = errors.New(stop.Failure)
		}
		return run.Record{}, errors.Join(err, failed, missing)
	}
	return d, errors.Join(failed, missing)
}

// results are those in what the command printed.
func (w Watched) results(o *output) (Results, error) {
	results, missing := o.results()
	for name, x := range results {
		if direction(name, w.Lower) == run.Lower {
			x.Better = run.Lower
			results[name] = x
		}
	}
	return results, missing
}

// notWatchedToTheEnd says what became of a run that was over before its command was.
// The results are left to the user, since the run did not measure what they are of to
// the end.
func notWatchedToTheEnd(ctx context.Context, a Agent, r run.Run, results Results, failure string, took time.Duration) error {
	text := fmt.Sprintf("run %s was not recorded to the end of the command, which took %.1f s", run.ShortID(r.ID), took.Seconds())
	d, err := a.StopRun(ctx, run.Stop{Run: r.ID})
	switch {
	case err != nil:
		text += fmt.Sprintf(", and where it stands is unknown (%v)", err)
	case d.DurationS == nil:
		text += fmt.Sprintf(": it is %s", d.State)
	case d.State == run.Interrupted:
		text += fmt.Sprintf(": it is interrupted after %.1f s, when its agent ended", *d.DurationS)
	default:
		text += fmt.Sprintf(": somebody else stopped it after %.1f s, it is %s", *d.DurationS, d.State)
	}
	text += "; no run was stopped or changed now" + offer("; if the command's results count for it, add them with", r.ID, results)
	if failure != "" {
		text += "; " + failure
	}
	return errors.New(text)
}

// offer is how results are added to a run by hand, after a few words; "" without any.
func offer(words, id string, results Results) string {
	if len(results) == 0 {
		return ""
	}
	return words + " " + ResultCommand(id, results)
}

// typedResult is a result as a person types it.
func typedResult(name string, r run.Result) string {
	return fmt.Sprintf("%s=%v%s", name, r.Value, r.Unit)
}

// ResultCommand is the command that gives a run results, in backticks.
func ResultCommand(id string, results Results) string {
	var given, lower []string
	for _, name := range slices.Sorted(maps.Keys(results)) {
		x := results[name]
		given = append(given, strconv.Quote(typedResult(name, x)))
		if x.Better == run.Lower {
			lower = append(lower, fmt.Sprintf(" --lower %q", name))
		}
	}
	return fmt.Sprintf("`sweepd run result %s %s%s`", run.ShortID(id), strings.Join(given, " "), strings.Join(lower, ""))
}
