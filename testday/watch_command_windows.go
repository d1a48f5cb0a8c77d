package testday

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
	"time"

	"golang.org/x/sys/windows"
)

// gently asks a command to end; no process of Windows can be asked.
const gently = syscall.SIGTERM

// EndingSignals are those that end this process: Ctrl-C, and a console that is closed.
func EndingSignals() (c chan os.Signal, stop func()) {
	c = make(chan os.Signal, 8)
	signal.Notify(c, os.Interrupt, syscall.SIGTERM)
	return c, func() { signal.Stop(c) }
}

// ClosesTerminal tells whether a signal says that the terminal was closed: Windows ends what
// is in it.
func ClosesTerminal(os.Signal) bool { return false }

// process is the command's, in a job object with all that it starts.
type process struct {
	cmd *exec.Cmd
	job windows.Handle
}

func startProcess(x *exec.Cmd, terminal use) (p *process, err error) {
	if terminal == noTerminal { // Ctrl-C is not for it
		x.SysProcAttr = &windows.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
	}
	p = &process{cmd: x}
	if p.job, err = windows.CreateJobObject(nil, nil); err != nil {
		return nil, fmt.Errorf("create a job object: %w", err)
	}
	x.WaitDelay = time.Millisecond // its end is that of the process
	if err := x.Start(); err != nil {
		_ = windows.CloseHandle(p.job)
		return nil, err
	}
	// What it started before it was in the job is not in it, and ends by itself.
	if h, err := windows.OpenProcess(windows.PROCESS_SET_QUOTA|windows.PROCESS_TERMINATE, false, uint32(x.Process.Pid)); err == nil {
		_ = windows.AssignProcessToJobObject(p.job, h)
		_ = windows.CloseHandle(h)
	}
	return p, nil
}

func (p *process) wait() string {
	if err := p.cmd.Wait(); err != nil && !errors.Is(err, exec.ErrWaitDelay) {
		return err.Error()
	}
	return ""
}

// signal ends the command, but for Ctrl-C, which it got from the console itself.
func (p *process) signal(s os.Signal) {
	if s != os.Interrupt {
		p.kill()
	}
}

func (p *process) kill() {
	_ = windows.TerminateJobObject(p.job, 1)
	_ = p.cmd.Process.Kill() // where it could not be put into the job
}

// close ends what is left of the command. The system tells of all processes of the job, the
// command's own among them, so whether it left any behind is not known.
func (p *process) close() (leftBehind bool) {
	_ = windows.TerminateJobObject(p.job, 1)
	_ = windows.CloseHandle(p.job)
	return false
}

// endMarked has nothing to end: what a command starts is in its job object.
func endMarked(string) bool { return false }
