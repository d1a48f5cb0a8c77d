package testday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"sweepd/run"
)

// command is a watched one that was started. Its process leads a group of its own, by
// which all that it starts can be ended.
type command struct {
	name    string // in quotes, shortened
	shown   io.Writer
	output  *output
	process *process
	pipes   []*os.File    // from which its output is read
	read    chan struct{} // closed when no more of it can come
	unshown chan error    // what was printed could not be passed on
	ending  string        // why it was told to end, once it was
	mark    string        // see Watched
	// patience is how long it may take to end once it was told to.
	patience time.Duration
}

// use of a terminal is what a command may do with the one of this process.
type use int

const (
	hasTerminal  use = iota // it is the foreground, as in a shell
	asksTerminal            // it gets the terminal when it asks for it
	noTerminal              // it is a session of its own: nobody sits there
)

// toldToEnd ends a command, as the cause of the end of a context, and says why.
type toldToEnd struct{ why string }

func (t *toldToEnd) Error() string { return t.why }

// start starts the command.
func (w Watched) start(program string, output *output) (_ *command, err error) {
	c := &command{name: fmt.Sprintf("%q", run.Shorten(w.Command[0])), shown: w.Err, output: output, read: make(chan struct{}), unshown: make(chan error, 2), patience: killDelay}
	x := exec.Command(program, w.Command[1:]...)
	x.Args[0], x.Stdin = w.Command[0], w.In
	if w.mark != "" {
		x.Env, c.mark = append(os.Environ(), w.mark), w.mark
	}
	terminal := hasTerminal
	switch {
	case w.alone:
		terminal, c.patience = noTerminal, aloneDelay
	case isPipe(w.Out) || isPipe(w.Err): // a pager may want it
		terminal = asksTerminal
	}
	var copying sync.WaitGroup
	var theirs []*os.File
	defer func() {
		for _, f := range theirs {
			_ = f.Close() // the command has its own
		}
		if err != nil {
			c.closePipes()
			err = fmt.Errorf("command %s could not be started: %w", c.name, err)
		}
	}()
	pipe := func(shown io.Writer) (*os.File, error) {
		r, their, err := os.Pipe()
		if err != nil {
			return nil, err
		}
		c.pipes, theirs = append(c.pipes, r), append(theirs, their)
		to := io.MultiWriter(output.stream(), &passedOn{to: shown, failed: c.unshown})
		copying.Go(func() { _, _ = io.Copy(to, r) }) // ends with the pipe
		return their, nil
	}
	stdout, err := pipe(w.Out)
	if err != nil {
		return nil, err
	}
	stderr, err := pipe(w.Err)
	if err != nil {
		return nil, err
	}
	x.Stdout, x.Stderr = stdout, stderr
	if c.process, err = startProcess(x, terminal); err != nil {
		return nil, err
	}
	go func() { copying.Wait(); close(c.read) }()
	return c, nil
}

// isPipe tells whether what is written goes to another program.
func isPipe(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeNamedPipe != 0
}

// passedOn passes on what is printed until that fails. Writing to it never does.
type passedOn struct {
	to     io.Writer
	failed chan<- error
}

func (p *passedOn) Write(text []byte) (int, error) {
	if p.to != nil {
		if _, err := p.to.Write(text); err != nil {
			p.to = nil
			p.failed <- err
		}
	}
	return len(text), nil
}

// How long a command may take to end once it was told to: one that somebody watches, and
// one that a runner carries out, which may be told so because the device is too hot.
const (
	killDelay  = 10 * time.Second
	aloneDelay = 3 * time.Second
)

// await waits for the end of the command's own process and says what went wrong; ""
// for nothing. Signals, the end of ctx and a reader of its output that has left end it;
// the cause of ctx may be a *toldToEnd.
func (c *command) await(ctx context.Context, signals <-chan os.Signal) string {
	ended := make(chan string, 1)
	go func() { ended <- c.process.wait() }()
	var late <-chan time.Time
	cancelled := ctx.Done()
	end := func(why string, with os.Signal) {
		switch {
		case c.ending == "":
			c.ending, late = why, time.After(c.patience)
			c.process.signal(with)
		case with == os.Interrupt: // pressed again: out of patience
			c.kill("was told to end twice")
		}
	}
	for {
		select {
		case how := <-ended:
			return c.failure(how)
		case s := <-signals:
			cancelled = nil // by the same signal
			end(fmt.Sprintf("run watch was ended by a signal (%v)", s), s)
		case err := <-c.unshown:
			end(fmt.Sprintf("what it printed could not be passed on (%v)", err), gently)
		case <-cancelled:
			cancelled = nil
			var told *toldToEnd
			if errors.As(context.Cause(ctx), &told) {
				end(told.why, gently)
				break
			}
			// The signal that ended ctx says more.
			select {
			case s := <-signals:
				end(fmt.Sprintf("run watch was ended by a signal (%v)", s), s)
			case <-time.After(signalWait):
				end("run watch was given up", os.Interrupt)
			}
		case <-late:
			c.kill(fmt.Sprintf("did not end within %v", c.patience))
		}
	}
}

// signalWait is how long the signal that ended a context may take to arrive by itself.
const signalWait = 50 * time.Millisecond

func (c *command) kill(why string) {
	c.ending += "; it " + why + " and was killed"
	fmt.Fprintf(c.shown, "command %s %s: it is killed\n", c.name, why)
	c.process.kill()
}

// failure says what went wrong with a command that ended like this; "" is well.
func (c *command) failure(how string) string {
	var parts []string
	if how != "" {
		parts = append(parts, how)
	}
	if c.ending != "" {
		parts = append(parts, c.ending)
	}
	if len(parts) == 0 {
		return ""
	}
	return fmt.Sprintf("command %s: %s", c.name, strings.Join(parts, "; "))
}

// drained waits until all that the command and what it started printed is read; false
// where that did not come to an end in time.
func (c *command) drained(wait time.Duration) bool {
	select {
	case <-c.read:
		return true
	case <-time.After(wait):
		return false
	}
}

// close lets go of the command and ends what is left of it. It tells whether anything was.
func (c *command) close() (leftBehind bool) {
	defer c.closePipes()
	return c.end()
}

// end ends what is left of a command that has ended: its group, and what made a group or a
// session of its own and still has the mark.
func (c *command) end() (leftBehind bool) {
	leftBehind = c.process.close()
	return c.mark != "" && endMarked(c.mark) || leftBehind
}

func (c *command) closePipes() {
	for _, p := range c.pipes {
		_ = p.Close() // only read from
	}
}
