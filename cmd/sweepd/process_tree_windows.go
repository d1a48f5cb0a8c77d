package main

import (
	"os/exec"
	"unsafe"

	"golang.org/x/sys/windows"
)

// processTree is a command with everything that it starts, to be ended together:
// here a job. What the command starts before it is put into the job escapes.
type processTree struct {
	cmd    *exec.Cmd
	job    windows.Handle // 0: there is none
	inside bool           // the command is in the job; else only it itself is ended
}

// newProcessTree prepares a command that was not started yet. Its context ends
// the whole tree.
func newProcessTree(cmd *exec.Cmd) *processTree {
	t := &processTree{cmd: cmd}
	cmd.Cancel = t.kill
	job, err := windows.CreateJobObject(nil, nil)
	if err != nil {
		return t
	}
	limits := windows.JOBOBJECT_EXTENDED_LIMIT_INFORMATION{}
	limits.BasicLimitInformation.LimitFlags = windows.JOB_OBJECT_LIMIT_KILL_ON_JOB_CLOSE
	if _, err := windows.SetInformationJobObject(job, windows.JobObjectExtendedLimitInformation, uintptr(unsafe.Pointer(&limits)), uint32(unsafe.Sizeof(limits))); err != nil {
		_ = windows.CloseHandle(job)
		return t
	}
	t.job = job
	return t
}

// started is called once the command runs.
func (t *processTree) started() {
	if t.job == 0 {
		return
	}
	process, err := windows.OpenProcess(windows.PROCESS_SET_QUOTA|windows.PROCESS_TERMINATE, false, uint32(t.cmd.Process.Pid))
	if err != nil {
		return // it has ended already
	}
	defer windows.CloseHandle(process)
	t.inside = windows.AssignProcessToJobObject(t.job, process) == nil
}

func (t *processTree) kill() error {
	if t.inside {
		return windows.TerminateJobObject(t.job, 1)
	}
	return t.cmd.Process.Kill()
}

// close ends what is left of the tree after the command has ended.
func (t *processTree) close() {
	if t.job != 0 {
		_ = windows.CloseHandle(t.job)
	}
}
