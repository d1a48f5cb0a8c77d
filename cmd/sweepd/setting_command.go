package main

import (
	"context"
	"fmt"
	"os/exec"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

// settingTimeout is how long the configured command may take.
const settingTimeout = 5 * time.Second

// settingCommand runs the configured command, without a shell, and reads what
// it prints as the active setting: "25W", "12.5", "quiet". Printing nothing
// means that nothing is known.
func settingCommand(words []string) func(context.Context) (run.Setting, error) {
	if len(words) == 0 {
		return nil
	}
	return func(ctx context.Context) (run.Setting, error) {
		ctx, cancel := context.WithTimeout(ctx, settingTimeout)
		defer cancel()
		out, err := exec.CommandContext(ctx, words[0], words[1:]...).Output()
		if err != nil {
			return run.Setting{}, fmt.Errorf("setting command %s: %w", words[0], err)
		}
		text := strings.TrimSpace(string(out))
		if text == "" {
			return run.Setting{}, nil
		}
		s, err := testday.ParseSetting(text)
		if err != nil {
			return run.Setting{}, fmt.Errorf("setting command %s: %w", words[0], err)
		}
		return s, nil
	}
}
