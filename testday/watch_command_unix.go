//go:build unix

package testday

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"time"

	"golang.org/x/sys/unix"
)

// gently asks a command to end.
const gently = unix.SIGTERM

// EndingSignals are those that end this process. A signal that it was started to
// ignore (nohup) stays ignored. Writing to a pipe that nobody reads fails from here on
// instead of ending the process.
func EndingSignals() (c chan os.Signal, stop func()) {
	c = make(chan os.Signal, 8)
	for _, s := range []os.Signal{unix.SIGHUP, unix.SIGINT, unix.SIGQUIT, unix.SIGTERM} {
		if !signal.Ignored(s) {
			signal.Notify(c, s)
		}
	}
	broken := make(chan os.Signal, 1)
	signal.Notify(broken, unix.SIGPIPE)
	return c, func() { signal.Stop(c); signal.Stop(broken) }
}

// ClosesTerminal tells whether a signal says that the terminal was closed.
func ClosesTerminal(s os.Signal) bool { return s == unix.SIGHUP }

// process is the command's, which leads a process group. It has the terminal where this
// process has it to give, and stops and goes on together with this one, as in a shell
// with job control (POSIX.1-2024, 11.1.4, and 2.11 of the shell).
type process struct {
	group     int
	terminal  int // the controlling one; -1 for none
	hasTurn   bool
	continued chan os.Signal
}

// startProcess starts the command.
func startProcess(x *exec.Cmd, terminal use) (*process, error) {
	p := &process{terminal: -1, continued: make(chan os.Signal, 1)}
	switch terminal {
	case noTerminal:
		x.SysProcAttr = &unix.SysProcAttr{Setsid: true} // which leads a group, too
		dieWithParent(x.SysProcAttr)
	default:
		x.SysProcAttr = &unix.SysProcAttr{Setpgid: true}
		if fd, err := unix.Open("/dev/tty", unix.O_RDWR|unix.O_CLOEXEC|unix.O_NOCTTY, 0); err == nil {
			p.terminal = fd
			p.hasTurn = terminal == hasTerminal && p.inForeground()
			x.SysProcAttr.Foreground, x.SysProcAttr.Ctty = p.hasTurn, fd
			signal.Notify(p.continued, unix.SIGCONT)
		}
	}
	if err := x.Start(); err != nil {
		p.release()
		return nil, err
	}
	p.group = x.Process.Pid
	_ = x.Process.Release() // wait waits for it by its number
	return p, nil
}

// wait waits for the end and says how it was not as it should be; "" for well.
func (p *process) wait() string {
	for {
		var status unix.WaitStatus
		_, err := unix.Wait4(p.group, &status, unix.WUNTRACED, nil)
		switch {
		case errors.Is(err, unix.EINTR):
		case err != nil:
			return fmt.Sprintf("its end is unknown: %v", err)
		case status.Stopped():
			p.stopped(status.StopSignal())
		case status.Signaled():
			return fmt.Sprintf("ended by %s (%v)", unix.SignalName(status.Signal()), status.Signal())
		case status.ExitStatus() != 0:
			return fmt.Sprintf("exit status %d", status.ExitStatus())
		default:
			return ""
		}
	}
}

// stopped is called when the command stopped. One that wants the terminal gets it where
// this process has it to give; else this process stops, too, until both go on.
func (p *process) stopped(by unix.Signal) {
	if p.terminal < 0 {
		return // by somebody who knows how to continue it
	}
	wants := by == unix.SIGTTIN || by == unix.SIGTTOU
	if !wants && by != unix.SIGTSTP {
		return
	}
	if !wants || !p.inForeground() {
		p.takeBack()
		p.stopSelf()
	}
	if (wants || p.hasTurn) && p.inForeground() {
		p.hasTurn = p.foreground(p.group) == nil
	}
	p.signal(unix.SIGCONT)
}

// stopSelf stops this process and those beside it in a pipeline as Ctrl-Z does, and
// returns when they go on; where nobody could continue them the kernel does not stop
// them (POSIX.1-2024, 2.4.3, orphaned process groups).
func (p *process) stopSelf() {
	select {
	case <-p.continued: // an old one
	default:
	}
	_ = unix.Kill(0, unix.SIGTSTP)
	select {
	case <-p.continued:
	case <-time.After(stopWait):
	}
}

// stopWait is how long a stop that was asked for may take to come: the kernel gives the
// signal to another thread, which has to be scheduled first.
const stopWait = 2 * time.Second

// inForeground tells whether this process has the terminal.
func (p *process) inForeground() bool {
	group, err := unix.IoctlGetInt(p.terminal, unix.TIOCGPGRP)
	return err == nil && group == unix.Getpgrp()
}

// foreground gives the terminal to a process group.
func (p *process) foreground(group int) error {
	signal.Ignore(unix.SIGTTOU) // else it stops whoever gives the terminal from the background
	defer signal.Reset(unix.SIGTTOU)
	return unix.IoctlSetPointerInt(p.terminal, unix.TIOCSPGRP, group)
}

// takeBack takes the terminal from the command, where that has it.
func (p *process) takeBack() {
	if group, err := unix.IoctlGetInt(p.terminal, unix.TIOCGPGRP); err == nil && group == p.group {
		_ = p.foreground(unix.Getpgrp()) // else the shell takes it
	}
}

// signal sends the whole group a signal, and lets it go on where it is stopped so that
// it can end.
func (p *process) signal(s os.Signal) {
	_ = unix.Kill(-p.group, s.(unix.Signal)) // nobody may be left
	_ = unix.Kill(-p.group, unix.SIGCONT)
}

func (p *process) kill() { p.signal(unix.SIGKILL) }

// What a command left behind may take leftBehindDelay to end; what ends by itself within
// endingDelay was not left behind; what is killed takes killedDelay at most, unless the
// kernel keeps it; groupPoll is how often it is looked.
const (
	leftBehindDelay = 2 * time.Second
	endingDelay     = 50 * time.Millisecond
	killedDelay     = 500 * time.Millisecond
	groupPoll       = 10 * time.Millisecond // doubled each time up to
	slowestPoll     = 80 * time.Millisecond
)

// close lets go of a command that has ended. What it left behind in its group is ended,
// too, so that it does not load the next run, and killed where it does not end within
// leftBehindDelay; it tells whether anything was.
func (p *process) close() (leftBehind bool) {
	p.release()
	if p.gone(endingDelay) {
		return false
	}
	p.signal(gently) // shells have what they start in the background ignore Ctrl-C
	if !p.gone(leftBehindDelay) {
		p.kill()
		p.gone(killedDelay)
	}
	return true
}

// gone waits until nobody is left of the command's group; false where that takes longer.
func (p *process) gone(within time.Duration) bool {
	end := time.Now().Add(within)
	for pause := groupPoll; unix.Kill(-p.group, 0) == nil && !deadAlone(p.group); pause = min(2*pause, slowestPoll) {
		if !time.Now().Before(end) {
			return false
		}
		time.Sleep(pause)
	}
	return true
}

// release gives the terminal up.
func (p *process) release() {
	if p.terminal >= 0 {
		p.takeBack()
		signal.Stop(p.continued)
		_ = unix.Close(p.terminal)
	}
}
