package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"sync"
	"time"

	"sweepd/actuators"
	"sweepd/run"
)

const (
	// commandOutput is how much of what a command of the configuration prints is read, in
	// bytes.
	commandOutput = 4 << 10
	// commandLeftover is how long its output may stay open once it has ended, in the hands
	// of a program that it left behind.
	commandLeftover = 200 * time.Millisecond
	// commandDeath is how long it may take to die once it was killed.
	commandDeath = time.Second
)

// runBounded runs commands of the configuration, without a shell. Whatever one does, it takes
// bounded time and memory, and nothing that it started outlives it unless it left the
// command's process group.
func runBounded(timeout time.Duration) actuators.RunCommand {
	return func(ctx context.Context, words []string) (string, error) {
		if alive, ok := stuckCommands.Load(words[0]); ok {
			select {
			case <-alive.(chan struct{}):
				stuckCommands.Delete(words[0])
			default:
				return "", errStuck
			}
		}
		out, alive, err := boundedOutput(ctx, words, timeout, "at most a line is wanted")
		select {
		case <-alive:
		default:
			stuckCommands.Store(words[0], alive)
		}
		return out, err
	}
}

// stuckCommands are programs that were killed and still do not end, with what is closed
// when they do: they may set something yet.
var stuckCommands sync.Map

var errStuck = fmt.Errorf("the one before was killed and still does not end; it is not started again until then: %w", actuators.ErrNoAnswer)

// boundedOutput is what a command prints, without white space around it, within a time.
// wanted says what is wanted where it prints too much. alive is closed when it has ended,
// which may be later: then it is stuck in the kernel.
func boundedOutput(ctx context.Context, words []string, timeout time.Duration, wanted string) (text string, alive chan struct{}, err error) {
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	ended := make(chan struct{})
	var out string
	var failed error
	go func() {
		defer close(ended)
		out, failed = outputOf(ctx, words, wanted)
	}()
	select {
	case <-ended:
	case <-ctx.Done():
		select {
		case <-ended:
		case <-time.After(commandDeath):
			return "", ended, fmt.Errorf("not ended %v after it was killed", commandDeath)
		}
	}
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		failed = fmt.Errorf("not ended within %v; it was killed", timeout)
	}
	return out, ended, failed
}

// outputOf is what a command prints, without white space around it. The command and what
// it started in its process group are killed where it prints too much, when ctx ends, and
// when it ends itself.
func outputOf(ctx context.Context, words []string, wanted string) (string, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	out, complaint := firstBytes{most: commandOutput, full: cancel}, firstBytes{most: commandOutput}
	cmd := exec.CommandContext(ctx, words[0], words[1:]...)
	cmd.Stdout, cmd.Stderr, cmd.WaitDelay = &out, &complaint, commandLeftover
	tree := newProcessTree(cmd)
	if err := cmd.Start(); err != nil {
		tree.close()
		return "", err
	}
	tree.started()
	err := cmd.Wait()
	tree.close()
	switch {
	case out.over:
		return "", fmt.Errorf("it printed more than %d bytes, where %s; it was killed", commandOutput, wanted)
	case errors.Is(err, exec.ErrWaitDelay): // it ended well; what it left behind held its output open
		err = nil
	case err != nil:
		if line, _, _ := strings.Cut(strings.TrimSpace(complaint.String()), "\n"); line != "" {
			err = fmt.Errorf("%w: %q", err, run.Shorten(line))
		}
	}
	return strings.TrimSpace(out.String()), err
}

// firstBytes keeps the first bytes that are written to it and drops the rest.
type firstBytes struct {
	most int
	full func() // called when there are more; may be nil
	over bool
	buf  bytes.Buffer
}

func (f *firstBytes) Write(p []byte) (int, error) {
	fits := min(len(p), f.most-f.buf.Len())
	f.buf.Write(p[:fits])
	if fits < len(p) && !f.over {
		f.over = true
		if f.full != nil {
			f.full()
		}
	}
	return len(p), nil
}

func (f *firstBytes) String() string { return f.buf.String() }
