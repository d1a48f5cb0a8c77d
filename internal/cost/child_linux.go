package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
)

// childArg is the word that makes this program a child; what to do follows as
// JSON.
const childArg = "child"

// childTask is what a child does: one of the fields.
type childTask struct {
	Loop *loopTask `json:",omitempty"`
	Load *loadTask `json:",omitempty"`
}

func runChild(text string, out io.Writer) error {
	var t childTask
	if err := json.Unmarshal([]byte(text), &t); err != nil {
		return fmt.Errorf("child's task %q: %w", text, err)
	}
	var result any
	var err error
	if t.Loop != nil {
		result, err = t.Loop.do()
	} else {
		result, err = t.Load.do()
	}
	if err != nil {
		return err
	}
	return json.NewEncoder(out).Encode(result)
}

// inChild has a child do a task and gives what it found.
func inChild[Result any](ctx context.Context, t childTask) (result Result, err error) {
	text, err := json.Marshal(t)
	if err != nil {
		return result, err
	}
	self, err := os.Executable()
	if err != nil {
		return result, err
	}
	cmd := exec.CommandContext(ctx, self, childArg, string(text))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return result, fmt.Errorf("child: %w", err)
	}
	return result, json.Unmarshal(out, &result)
}
