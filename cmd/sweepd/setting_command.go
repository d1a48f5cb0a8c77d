package main

import (
	"context"
	"fmt"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// settingTimeout is how long the configured command may take.
const settingTimeout = 5 * time.Second

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
			return run.Setting{}, errStuck
		}
	}
	out, alive, err := boundedOutput(ctx, c.words, c.timeout, "a setting such as 25W is wanted")
	c.alive = alive
	if err != nil || out == "" {
		return run.Setting{}, err
	}
	return testday.ParseSetting(out)
}
