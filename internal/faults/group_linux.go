package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"sync/atomic"
	"syscall"
	"time"
)

// largest is the memory that tests may take, in bytes.
const largest = 4 << 30

// runGroup runs a program, and ends it and all that it started when the context
// ends or when it grows too large.
func runGroup(ctx context.Context, cmd *exec.Cmd) error {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.WaitDelay = 5 * time.Second
	if err := cmd.Start(); err != nil {
		return err
	}
	group := cmd.Process.Pid
	ended := make(chan struct{})
	watched := make(chan struct{})
	var tooLarge atomic.Bool
	go func() {
		defer close(watched)
		tick := time.NewTicker(200 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-ended:
				return
			case <-ctx.Done():
				syscall.Kill(-group, syscall.SIGKILL)
				return
			case <-tick.C:
				if resident(group) > largest {
					tooLarge.Store(true)
					syscall.Kill(-group, syscall.SIGKILL)
					return
				}
			}
		}
	}()
	err := cmd.Wait()
	close(ended)
	<-watched
	syscall.Kill(-group, syscall.SIGKILL) // what the tests left running
	if tooLarge.Load() {
		return errors.Join(errTooLarge, err)
	}
	return err
}

// resident is the memory of a process, in bytes, 0 if it has ended
// (proc_pid_statm(5): the second field, in pages).
func resident(pid int) int64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
	fields := bytes.Fields(text)
	if err != nil || len(fields) < 2 {
		return 0
	}
	pages, err := strconv.ParseInt(string(fields[1]), 10, 64)
	if err != nil {
		return 0
	}
	return pages * int64(os.Getpagesize())
}
