//go:build !linux

package main

import (
	"context"
	"os/exec"
)

// runGroup runs a program, and ends it when the context ends.
func runGroup(ctx context.Context, cmd *exec.Cmd) error {
	if err := cmd.Start(); err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { cmd.Process.Kill() })
	defer stop()
	return cmd.Wait()
}
