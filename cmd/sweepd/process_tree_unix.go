//go:build unix

package main

import (
	"errors"
	"os"
	"os/exec"
	"syscall"
)

// processTree is a command with everything that it starts, to be ended together:
// here the process group that it leads.
type processTree struct{ cmd *exec.Cmd }

// newProcessTree prepares a command that was not started yet. Its context ends
// the whole tree.
func newProcessTree(cmd *exec.Cmd) *processTree {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	t := &processTree{cmd}
	cmd.Cancel = t.kill
	return t
}

// started is called once the command runs.
func (*processTree) started() {}

func (t *processTree) kill() error {
	if err := syscall.Kill(-t.cmd.Process.Pid, syscall.SIGKILL); !errors.Is(err, syscall.ESRCH) {
		return err
	}
	return os.ErrProcessDone
}

// close ends what is left of the tree after the command has ended.
func (t *processTree) close() {
	if t.cmd.Process != nil {
		_ = t.kill() // mostly there is nothing left
	}
}
