package testday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
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
}

// Watch starts a run, carries out the command and stops the run when the command
// ends, whatever became of it. The record is the run's, with an empty id where none
// was kept. The error says, beside what went wrong with the run, that the command
// failed or that results were not in its output.
func Watch(ctx context.Context, a Agent, start run.Start, w Watched) (d run.Record, err error) {
	program, err := exec.LookPath(w.Command[0])
	if err != nil {
		return d, fmt.Errorf("command %q cannot be started: %w", w.Command[0], err)
	}
	r, err := a.StartRun(ctx, start)
	if err != nil {
		return d, err
	}
	output := w.Rules.newOutput()
	failed := w.carryOut(ctx, program, output)
	results, missing := output.results()
	for name, x := range results {
		if direction(name, w.Lower) == run.Lower {
			x.Better = run.Lower
			results[name] = x
		}
	}
	stop := run.Stop{Results: results}
	if failed != nil {
		stop.Note = failed.Error()
	}
	d, err = Stop(context.WithoutCancel(ctx), a, stop)
	if err != nil {
		return run.Record{}, errors.Join(fmt.Errorf("run %s could not be stopped: %w", run.ShortID(r.ID), err), failed)
	}
	if failed != nil {
		failed = fmt.Errorf("%w; run %s is kept: reject it if it does not count", failed, run.ShortID(r.ID))
	}
	return d, errors.Join(failed, missing)
}

// killDelay is how long a command may take to end once it was asked to.
const killDelay = 10 * time.Second

// carryOut runs the command and keeps what it prints. Where the context ends, the
// command is asked to end, too.
func (w Watched) carryOut(ctx context.Context, program string, output *output) error {
	c := exec.CommandContext(ctx, program, w.Command[1:]...)
	c.Args[0] = w.Command[0]
	c.Stdin = w.In
	c.Stdout = io.MultiWriter(w.Out, output.stream())
	c.Stderr = io.MultiWriter(w.Err, output.stream())
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	c.WaitDelay = killDelay
	if err := c.Run(); err != nil {
		return fmt.Errorf("command %s: %w", w.Command[0], err)
	}
	return nil
}
