package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

const (
	// settingTimeout is how long the configured command may take.
	settingTimeout = 5 * time.Second
	// settingOutput is how much of what it prints is read, in bytes.
	settingOutput = 4 << 10
	// settingLeftover is how long its output may stay open once it has ended, in
	// the hands of a program that it left behind.
	settingLeftover = 200 * time.Millisecond
	// settingDeath is how long it may take to die once it was killed.
	settingDeath = time.Second
)

// settingCommand is the command that the user configured to tell the active
// setting. Whatever it does, it takes bounded time and memory, and nothing that
// it started outlives it unless it left the command's process group.
type settingCommand struct {
	words   []string
	timeout time.Duration
	alive   chan struct{} // closed when the last one has ended; nil before the first
}

// newSettingCommand returns what runs a command, nil where there is none. Calls
// must not overlap.
func newSettingCommand(words []string) func(context.Context) (run.Setting, error) {
	if len(words) == 0 {
		return nil
	}
	return (&settingCommand{words: words, timeout: settingTimeout}).read
}

// read runs the command, without a shell, and reads what it prints as the active
// setting: "25W", "12.5", "quiet". Printing nothing means that nothing is known.
func (c *settingCommand) read(ctx context.Context) (run.Setting, error) {
	s, err := c.ask(ctx)
	if err != nil {
		return run.Setting{}, fmt.Errorf("setting command %s: %w", c.words[0], err)
	}
	return s, nil
}

func (c *settingCommand) ask(ctx context.Context) (run.Setting, error) {
	if c.alive != nil {
		select {
		case <-c.alive:
		default:
			return run.Setting{}, errors.New("the one before was killed and still does not end; it is not started again until then")
		}
	}
	ctx, cancel := context.WithTimeout(ctx, c.timeout)
	defer cancel()
	alive := make(chan struct{})
	var out string
	var err error
	go func() {
		defer close(alive)
		out, err = c.output(ctx)
	}()
	c.alive = alive
	select {
	case <-alive:
	case <-ctx.Done():
		select {
		case <-alive:
		case <-time.After(settingDeath): // it is stuck in the kernel
			return run.Setting{}, fmt.Errorf("not ended %v after it was killed", settingDeath)
		}
	}
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		err = fmt.Errorf("not ended within %v; it was killed", c.timeout)
	}
	if err != nil || out == "" {
		return run.Setting{}, err
	}
	return testday.ParseSetting(out)
}

// output is what the command prints, without white space around it. The command
// and what it started in its process group are killed where it prints too much,
// when ctx ends, and when it ends itself.
func (c *settingCommand) output(ctx context.Context) (string, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	out, complaint := firstBytes{most: settingOutput, full: cancel}, firstBytes{most: settingOutput}
	cmd := exec.CommandContext(ctx, c.words[0], c.words[1:]...)
	cmd.Stdout, cmd.Stderr, cmd.WaitDelay = &out, &complaint, settingLeftover
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
		return "", fmt.Errorf("it printed more than %d bytes, where a setting such as 25W is wanted; it was killed", settingOutput)
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
